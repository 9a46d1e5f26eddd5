"""The record of erasing: it says what was done and what is out of reach, and names nobody."""

from __future__ import annotations

from typing import Any

import pytest

from notify.flows import forget, view_erasures
from notify.store import tickets

pytestmark = pytest.mark.long


def test_a_record_of_erasing_says_what_was_done_and_names_nobody(house: Any, signed_in: Any) -> None:
    done = house.check_in(name="Ines Farrow", email="ines@example.org")
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    proved = forget.erase_person(house.ctx, house.actor(), person)
    one = view_erasures.view(house.ctx, house.actor(), house.services.settings)[0]
    page = signed_in.get("/held/erasures").get_data(as_text=True)
    sheet = signed_in.get(f"/held/erasures/{one.id}").get_data(as_text=True)
    assert f"/held/erasures/{one.id}" in page and "/held/erasures" in signed_in.get("/held").get_data(as_text=True)
    assert proved == (one.confirmed_at is not None) and one.counts["people"] >= 1
    assert ("is not proved yet" in sheet) != proved and "calendar" in sheet and "gateway" in sheet and "paper" in sheet
    for secret in (person, "Ines Farrow", "ines@example.org", done.visit_id, done.ticket_ids[0], done.numbers[0]):
        assert secret not in page + sheet
    assert signed_in.get("/held/erasures/nothing").status_code == 404

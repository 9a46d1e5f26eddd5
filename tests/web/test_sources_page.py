"""What waits of other systems, decided on the pages: both sides are shown, each way out is one press."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from notify.core.actors import Actor
from notify.core.sources import Batch, Change
from notify.core.tickets import Phase
from notify.flows import doubts as decide
from notify.flows import moves, take_changes, view_sources
from notify.flows.check_in_form import DeviceForm
from notify.store import doubts, sources, tickets

pytestmark = pytest.mark.long  # each has a shop of its own

WORDS = {"done": "repaired", "in line": "in_line"}


def tell(house: Any, *rows: tuple[str, str, dict[str, str]]) -> list[str]:
    """What the bench list says; the identifiers of what waits, in that order."""
    batch = Batch("bench", "tickets", "UTC", WORDS, {}, seen_before=house.clock() - timedelta(minutes=1))
    cells = [{"reference": reference, "phase": word, **more} for reference, word, more in rows]
    changes = [Change(n, one) for n, one in enumerate(cells, start=2)]
    take_changes.take(house.ctx, Actor(house.shop_id, "source", "bench"), batch, changes)
    with house.read() as unit:
        return [one.id for one in doubts.list_open(unit)]


def test_each_way_out_of_a_doubt_is_on_its_page_and_does_what_it_says(house: Any, signed_in: Any) -> None:
    visit = house.check_in(DeviceForm("Kestrel radio"), DeviceForm("Otter camera"), DeviceForm("Pebble handheld"))
    for word, ours in WORDS.items():  # the settings of this house name no source, so people here say what words mean
        decide.mean(house.ctx, house.actor(), Batch("bench", "tickets", "UTC", {}, {}), word, ours)
    house.clock.advance(600)
    moves.move(house.ctx, house.actor(), visit.ticket_ids[2], "in_line")
    late = (house.clock() - timedelta(minutes=5)).isoformat()
    word, linked, new, later, left = tell(
        house, (visit.numbers[0], "at sea", {}), ("J-5", "done", {}), ("J-6", "done", {"name": "Tomas Reed"}),
        (visit.numbers[2], "done", {"changed_at": late}), ("J-7", "done", {}),
    )  # fmt: skip
    sheet, listed = signed_in.get("/").text, signed_in.get("/sources").text
    assert "Five changes wait for you." in sheet and "Five changes wait for you." in listed
    assert "The Pebble handheld is agreed and has waited in line" in listed and "says “done”" in listed

    wrong = signed_in.post(f"/doubts/{word}/mean", {"means": ""}, seen=f"/doubts/{word}")
    assert wrong.status_code == 400 and "Choose what it means here" in wrong.text
    signed_in.post(f"/doubts/{word}/mean", {"means": "repaired"}, seen=f"/doubts/{word}")
    wrong = signed_in.post(f"/doubts/{linked}/link", {"number": "nonsense"}, seen=f"/doubts/{linked}")
    assert wrong.status_code == 400 and "nonsense" in wrong.text
    signed_in.post(f"/doubts/{linked}/link", {"number": visit.numbers[1]}, seen=f"/doubts/{linked}")
    signed_in.post(f"/doubts/{new}/take-in", {"device": "Gull e-reader", "name": "Tomas Reed"}, seen=f"/doubts/{new}")
    signed_in.post(f"/doubts/{later}/take", {}, seen="/sources")
    signed_in.post(f"/doubts/{left}/leave", {}, seen="/sources")

    with house.read() as unit:
        ready = {ticket.device for ticket in tickets.tickets_in(unit, [Phase.ON_SHELF])}
        assert doubts.list_open(unit) == ()
    assert ready == {"Kestrel radio", "Otter camera", "Gull e-reader", "Pebble handheld"}
    assert "Everything that other systems told has been taken." in signed_in.get("/sources").text
    again = signed_in.post(f"/doubts/{left}/leave", {}, seen="/sources")
    assert again.status_code == 400 and "decided already" in again.text


def test_what_both_sides_say_by_now_asks_for_nothing_but_a_nod(house: Any, signed_in: Any) -> None:
    visit = house.check_in(DeviceForm("Kestrel radio"))
    for word, ours in WORDS.items():
        decide.mean(house.ctx, house.actor(), Batch("bench", "tickets", "UTC", {}, {}), word, ours)
    house.clock.advance(600)
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "in_line")
    late = (house.clock() - timedelta(minutes=5)).isoformat()
    (doubt,) = tell(house, (visit.numbers[0], "done", {"changed_at": late}))
    assert "Take theirs" in signed_in.get(f"/doubts/{doubt}").text

    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "on_shelf", outcome="unrepaired", reason="not_repairable")
    assert "Take theirs" in signed_in.get(f"/doubts/{doubt}").text  # they say repaired
    moves.undo(house.ctx, house.actor(), visit.ticket_ids[0])
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "on_bench")
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "on_shelf", outcome="repaired")
    for page in (signed_in.get(f"/doubts/{doubt}").text, signed_in.get("/sources").text):
        assert "Both say the same by now." in page and "Take theirs" not in page and "That is right" in page


def test_whoever_may_not_see_contacts_sees_none_on_the_page_of_a_change(house: Any) -> None:
    (doubt,) = tell(house, ("J-8", "done", {"name": "Tomas Reed", "phone": "07700 900321"}))
    mine = view_sources.view_doubt(house.ctx, house.actor(), (), doubt)
    script = Actor(house.shop_id, "script", "token", scopes=frozenset({"tickets:read"}))
    theirs = view_sources.view_doubt(house.ctx, script, (), doubt)
    assert mine.cells["name"] == "Tomas Reed" and not {"name", "phone"} & theirs.cells.keys()


def test_a_name_or_number_in_a_change_is_never_kept_as_a_word_of_its_source(house: Any, signed_in: Any) -> None:
    (one,) = tell(house, ("J-9", "done", {"device": "radio", "name": "Tam Okoro", "email": "tam okoro"}))
    with house.read() as unit:
        assert doubts.get(unit, one).field == "email"
    said = signed_in.post(f"/doubts/{one}/mean", {"means": "repaired"}, seen=f"/doubts/{one}")
    with house.read() as unit:
        assert said.status_code == 400 and sources.words(unit, "bench") == {}
        assert len(doubts.list_open(unit)) == 1

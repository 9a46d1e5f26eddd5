"""The booked pickup as a file for a calendar: one event, the invite's own identity, nothing secret in it."""

from __future__ import annotations

from typing import Any

import pytest
import vobject

from notify.flows import forget, pickup, reach
from notify.flows.check_in_form import DeviceForm
from notify.store import tickets
from tests.flows.test_pickup import at
from tests.parts.calendar_mail import objects
from tests.parts.content_lines import read_lines
from tests.parts.itip_tables import breaches
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser
from tests.web.test_claim_booking import ready_link
from tests.web.test_claim_pages import text_of

pytestmark = pytest.mark.long


def booked(house: Any, **whom: Any) -> tuple[str, str, str]:
    """A visit with a time: (visit, ticket, path of its claim page)."""
    visit_id, ticket_id, path = ready_link(house, **whom)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    return visit_id, ticket_id, path


def test_the_claim_page_offers_the_file_once_a_time_is_booked(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    assert "pickup.ics" not in client.get(path).get_data(as_text=True)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    assert f'href="{path}/pickup.ics">Put it into your calendar</a>' in client.get(path).get_data(as_text=True)
    house.clock.advance(3 * 86400)
    assert "pickup.ics" not in client.get(path).get_data(as_text=True), "the time is over"


def test_the_file_is_a_calendar_to_keep_with_the_uid_and_sequence_of_the_invite(house: Any, client: Browser) -> None:
    visit_id, _, path = booked(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(17, 30))
    house.deliver(after=91)
    answer = client.get(f"{path}/pickup.ics")
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")  # RFC 5545 8.1
    assert answer.headers["Content-Disposition"] == 'attachment; filename="pickup.ics"'
    assert answer.headers["Cache-Control"] == "no-store" and answer.headers["Referrer-Policy"] == "no-referrer"
    assert list(breaches(read_lines(answer.data))) == []
    [invite] = objects(house)
    event = vobject.readOne(answer.get_data(as_text=True)).vevent
    assert (event.uid.value, int(event.sequence.value), event.dtstart.value) == (invite.uid, 1, invite.start)
    assert event.dtstamp.value <= invite.stamp, "the invite, which asks for an answer, counts as the newer one"
    assert client.get(f"{path}/pickup.ics").data == answer.data
    assert client.open("HEAD", f"{path}/pickup.ics").status_code == 200


def test_the_file_holds_no_secret_no_number_no_name_and_no_device(house: Any, client: Browser) -> None:
    _, ticket_id, path = booked(house)
    whole = client.get(f"{path}/pickup.ics").get_data(as_text=True).replace("\r\n ", "")
    with house.read() as unit:
        ticket = tickets.get_ticket(unit, ticket_id)
    for secret in (ticket.token, ticket.number, "/c/", "Ines", "Farrow", "Kestrel", "ines@", "bell.example.org"):
        assert secret not in whole, secret
    assert "Tramstop Bench" in whole


@pytest.mark.parametrize(("language", "words"), [("de", "Abholung"), ("it", "Ritiro"), ("en", "Pickup")])
def test_the_file_speaks_the_customers_language(house: Any, client: Browser, language: str, words: str) -> None:
    visit_id, _, path = booked(house)
    reach.set_visit_language(house.ctx, house.actor(), visit_id, language=language)
    event = vobject.readOne(client.get(f"{path}/pickup.ics").get_data(as_text=True)).vevent
    assert words in event.summary.value and "10:00" in event.description.value


def test_without_a_booked_time_the_answer_is_kind_and_404(house: Any, client: Browser) -> None:
    visit_id, _, path = booked(house)
    pickup.cancel(house.ctx, house.customer(), visit_id)
    answer = client.get(f"{path}/pickup.ics")
    assert answer.status_code == 404 and "because no pickup time is booked" in text_of(answer)
    assert client.get("/c/bcdfbcdfbcdfbcdfbcdfbcdfbcdfbcdf/pickup.ics").status_code == 404


def test_for_somebody_forgotten_the_answer_is_kind_and_410(house: Any, client: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel"))
    shelve(house, done.ticket_ids[0])
    path = f"/c/{token_of(house, done.ticket_ids[0])}"
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    assert client.get(f"{path}/pickup.ics").status_code == 410

"""Two counters, one claim; a pickup moved by phone: what a hurried hand presses does what its label says."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from notify.flows import handover, moves, parts, pickup, questions, reminders
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, tickets
from tests.web.conftest import Browser, sign_in

pytestmark = pytest.mark.long


def _shelve(house: Any, ticket_id: str) -> None:
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), ticket_id, phase)


def _token(house: Any, ticket_id: str) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, ticket_id).token)


def _booked(house: Any, visit_id: str) -> str:
    with house.read() as unit:
        found = bookings.live_booking(unit, visit_id)
    return found.local_start[:16] if found else ""


@pytest.mark.long
def test_the_same_claim_at_two_counters_gives_the_device_once_and_says_so(house: Any, signed_in: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel pocket radio"))
    _shelve(house, done.ticket_ids[0])
    other = sign_in(signed_in.app, house, role="counter", name="Cleo")
    for counter in (signed_in, other):
        found = counter.post("/scan", {"scan": f"https://bell.example.org/c/{_token(house, done.ticket_ids[0])}"})
        desk = str(found.headers["Location"])
    assert signed_in.post(desk, {"ticket": "all"}, seen=desk).status_code == 303
    pressed = other.post(desk, {"ticket": done.ticket_ids[0]}, seen=desk)
    late = (other.get(str(pressed.headers["Location"])) if pressed.status_code == 303 else pressed).get_data(
        as_text=True
    )
    assert "was handed back already" in late and "handed_back" not in late
    again = other.get(desk).get_data(as_text=True).split("<main")[1]
    assert "Already handed back" in again and "Not yet handed back" not in again and "<button" not in again
    handover.undo_handover(house.ctx, house.actor(), done.ticket_ids[0], reason="wrong_device")
    assert "Already handed back" not in other.get(desk).get_data(as_text=True)


def test_a_pickup_is_given_up_only_by_the_button_that_says_so(house: Any, signed_in: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel pocket radio"))
    _shelve(house, done.ticket_ids[0])
    first, second = (o.slot.local for o in pickup.offers(house.ctx, house.customer(), done.visit_id)[4:6])
    pickup.book(house.ctx, house.customer(), done.visit_id, first)
    page = signed_in.get(f"/tickets/{done.ticket_ids[0]}").get_data(as_text=True)
    assert '<option value="">Choose a time' in page and "Give the time up</option>" not in page
    untouched = signed_in.post(f"/visits/{done.visit_id}/book", {"slot": "", "back": "/"})
    assert _booked(house, done.visit_id) == f"{first:%Y-%m-%dT%H:%M}"
    assert "No time was chosen" in signed_in.get(str(untouched.headers["Location"])).get_data(as_text=True)
    signed_in.post(f"/visits/{done.visit_id}/book", {"slot": f"{second:%Y-%m-%dT%H:%M}/0"})
    assert _booked(house, done.visit_id) == f"{second:%Y-%m-%dT%H:%M}"
    signed_in.post(f"/visits/{done.visit_id}/book", {"slot": "", "give_up": "1"})
    assert _booked(house, done.visit_id) == ""


def test_nobody_is_told_to_order_what_the_customer_is_asked_about(house: Any, signed_in: Browser) -> None:
    ticket = house.check_in(DeviceForm("Tidepool handheld")).ticket_ids[0]
    part = parts.need(house.ctx, house.actor(), ticket, name="housing, grey")
    assert "Order it." in signed_in.get("/").get_data(as_text=True)
    questions.ask(house.ctx, house.actor(), ticket, kind="substitute_part", wording="Blue?", part_id=part)
    assert "Order it." not in signed_in.get("/").get_data(as_text=True)
    assert "order nothing before the answer" in signed_in.get("/deliveries").get_data(as_text=True)
    moves.move(house.ctx, house.actor(), ticket, "on_shelf", outcome="unrepaired", reason="changed_mind")
    assert "Order it." not in signed_in.get("/").get_data(as_text=True)


def test_a_deposit_on_what_was_not_repaired_is_named_where_it_is_handed_back(house: Any, signed_in: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel pocket radio", price_agreed="30", deposit="10"))
    moves.move(house.ctx, house.actor(), done.ticket_ids[0], "on_shelf", outcome="unrepaired", reason="price_declined")
    page = signed_in.get(f"/visits/{done.visit_id}/handover").get_data(as_text=True)
    assert "Nothing to pay: it was not repaired. A deposit of £10.00 was paid." in page


def test_closing_a_day_says_how_many_are_booked_on_it(house: Any, signed_in: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel pocket radio"))
    _shelve(house, done.ticket_ids[0])
    tomorrow = house.clock().date() + timedelta(days=1)
    slots = [o.slot.local for o in pickup.offers(house.ctx, house.customer(), done.visit_id)]
    pickup.book(house.ctx, house.customer(), done.visit_id, next(s for s in slots if s.date() == tomorrow))
    for day, said in ((tomorrow + timedelta(days=1), "The day is noted."), (tomorrow, "One pickup no longer fits")):
        if day == tomorrow:  # first it is said whom it hits, and nothing is changed
            assert "Location" not in signed_in.post("/settings/closed", {"day": str(day)}).headers
        answer = signed_in.post("/settings/closed", {"day": str(day), "agreed": "yes"})
        page = signed_in.get(str(answer.headers["Location"])).get_data(as_text=True)
        assert said in page and (day == tomorrow or "no longer fit" not in page)
    for day in ("9999-12-31", "0001-01-01", "rubbish"):
        assert signed_in.post("/settings/closed", {"day": day}).status_code == 422, day


def test_somebody_who_did_not_come_is_not_said_to_have_chosen_no_time(house: Any, signed_in: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel pocket radio"))
    _shelve(house, done.ticket_ids[0])
    slot = pickup.offers(house.ctx, house.customer(), done.visit_id)[4].slot
    pickup.book(house.ctx, house.customer(), done.visit_id, slot.local)
    house.clock.advance(6 * 3600)
    assert reminders.note_missed(house.ctx, house.system()) == 1
    page = signed_in.get("/").get_data(as_text=True)
    assert f"Did not come at {slot.local:%H:%M}; no new time is chosen." in page
    again = pickup.offers(house.ctx, house.customer(), done.visit_id)[4].slot
    pickup.book(house.ctx, house.customer(), done.visit_id, again.local)
    assert "Did not come" not in signed_in.get("/").get_data(as_text=True)

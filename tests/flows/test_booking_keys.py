"""A booking request that comes twice: the same key does one thing once, on each of book, move and cancel."""

from __future__ import annotations

from typing import Any

import pytest

from notify.core.errors import Conflict, NotFound
from notify.flows import moves, pickup
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, events
from tests.flows.test_pickup import at, ready_visit, told
from tests.parts.shelved import shelve


def kinds(house: Any, visit_id: str) -> list[str]:
    """What happened to the pickup, in order."""
    with house.read() as unit:
        return [e.kind for e in events.story_of(unit, visit_id=visit_id) if e.kind.startswith("pickup_")]


def test_the_same_request_again_changes_nothing_and_tells_nobody_twice(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    made = [pickup.book(house.ctx, house.customer(), visit_id, at(10), once="k1") for _ in range(3)]
    moved = [pickup.move(house.ctx, house.customer(), visit_id, at(11), once="k2") for _ in range(3)]
    assert len({one.id for one in (*made, *moved)}) == 1 and {one.revision for one in moved} == {1}
    gone = [pickup.cancel(house.ctx, house.customer(), visit_id, once="k3") for _ in range(3)]
    assert {one.state for one in gone} == {"cancelled"}
    assert kinds(house, visit_id) == ["pickup_booked", "pickup_moved", "pickup_cancelled"]


def test_a_key_with_another_time_is_refused_and_the_first_booking_stands(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10), once="k1")
    for again in (pickup.book, pickup.move):
        with pytest.raises(pickup.UsedKey, match="carried out already, with another time"):
            again(house.ctx, house.customer(), visit_id, at(11), once="k1")
    with house.read() as unit:
        live = bookings.live_booking(unit, visit_id)
    assert live is not None and live.local_start == "2026-11-26T10:00" and kinds(house, visit_id) == ["pickup_booked"]


def test_an_old_cancellation_that_comes_late_gives_up_no_newer_booking(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    pickup.cancel(house.ctx, house.customer(), visit_id, once="c1")
    pickup.book(house.ctx, house.customer(), visit_id, at(12))
    assert pickup.cancel(house.ctx, house.customer(), visit_id, once="c1").state == "cancelled"
    with house.read() as unit:
        live = bookings.live_booking(unit, visit_id)
    assert live is not None and live.local_start == "2026-11-26T12:00"


def test_keys_of_one_visit_say_nothing_about_another_and_book_is_apart_from_cancel(house: Any) -> None:
    (first, _), (second, _) = ready_visit(house), ready_visit(house)
    one = pickup.book(house.ctx, house.customer(), first, at(10), once="same")
    other = pickup.book(house.ctx, house.customer(), second, at(11), once="same")
    assert one.id != other.id
    assert pickup.cancel(house.ctx, house.customer(), first, once="same").id == one.id


def test_moving_needs_something_to_move_and_a_refused_request_leaves_its_key_unused(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    with pytest.raises(NotFound, match="no booking to move"):
        pickup.move(house.ctx, house.customer(), visit_id, at(10), once="k")
    assert pickup.book(house.ctx, house.customer(), visit_id, at(11), once="k").local_start == "2026-11-26T11:00"


def test_a_device_that_is_shelved_later_joins_the_booking_and_its_message_names_it(house: Any) -> None:
    done = house.check_in(DeviceForm("Kestrel"), DeviceForm("Otter camera", device_class="camera"))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    pickup.book(house.ctx, house.customer(), done.visit_id, at(10))
    house.deliver(after=91)
    shelve(house, done.ticket_ids[1])
    house.deliver(after=91)
    texts = house.sent("sms") + [mail for mail in house.sent("email") if mail.to == "ines@example.org"]
    whole = [" ".join(one.payload.decode("utf-8", "replace").replace("=\r\n", "").split()) for one in texts]
    stands = [text for text in whole if "time stands: Thursday, 26 November" in text]
    assert len(stands) == 1 and "Pick a time" not in stands[0] and "Choose a pickup time" not in stands[0]
    assert kinds(house, done.visit_id) == ["pickup_booked"]
    assert [notice for notice, *_ in told(house, done.visit_id)] == ["pickup_confirmed"]


def test_a_device_called_back_ends_the_offers_and_gives_the_pickup_up(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", reason="fault_seen_again")
    assert pickup.offers(house.ctx, house.customer(), visit_id) == ()
    assert kinds(house, visit_id) == ["pickup_booked", "pickup_cancelled"]
    with pytest.raises(Conflict, match="Nothing is ready"):
        pickup.book(house.ctx, house.customer(), visit_id, at(10))

"""Booking a pickup: what is on offer, who gets the last place, and the invites that follow every change."""

from __future__ import annotations

import random
from datetime import date, datetime, time, timedelta
from email import message_from_bytes, policy
from typing import Any

import pytest
import vobject

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.slots import Taken
from notify.flows import handover, moves, pickup, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, messages, shops
from tests.parts.shelved import shelve, token_of

THURSDAY, FRIDAY = date(2026, 11, 26), date(2026, 11, 27)


def ready_visit(house: Any, **whom: Any) -> tuple[str, str]:
    """A visit with one device on the shelf: (visit, ticket)."""
    done = house.check_in(DeviceForm("Kestrel"), **whom)
    shelve(house, done.ticket_ids[0])
    return done.visit_id, done.ticket_ids[0]


def at(hour: int, minute: int = 0, day: date = THURSDAY) -> datetime:
    """Shop-local wall time."""
    return datetime.combine(day, time(hour, minute))


def calendars(house: Any, person: str = "ines@example.org") -> list[Any]:
    """Every calendar object in the mails to a customer, as an independent reader sees it, in order."""
    found = []
    for outgoing in house.sent("email"):
        if outgoing.to != person:
            continue
        mail = message_from_bytes(outgoing.payload, policy=policy.default)
        inside = [p for p in mail.walk() if p.get_content_type() == "text/calendar" and not p.get_filename()]
        found += [vobject.readOne(p.get_content()) for p in inside]
    return found


def told(house: Any, visit_id: str) -> list[tuple[str, str, str]]:
    """(notice, state, reason) of a visit's pickup messages to the customer, in order."""
    with house.read() as unit:
        return [
            (m.notice, m.state, m.reason)
            for m in messages.messages_of_visit(unit, visit_id)
            if m.notice.startswith("pickup_") and m.person_id
        ]


def test_the_invite_arrives_moves_with_the_same_identity_and_is_cancelled(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    for step in (at(10), at(17, 30), None):
        if step:
            pickup.book(house.ctx, house.customer(), visit_id, step)
        else:
            pickup.cancel(house.ctx, house.customer(), visit_id)
        house.deliver(after=91)
    request, moved, cancelled = calendars(house)
    assert [c.method.value for c in (request, moved, cancelled)] == ["REQUEST", "REQUEST", "CANCEL"]
    assert len({c.vevent.uid.value for c in (request, moved, cancelled)}) == 1
    assert [c.vevent.sequence.value for c in (request, moved, cancelled)] == ["0", "1", "2"]
    assert request.vevent.dtstart.value.isoformat() == "2026-11-26T10:00:00+00:00"
    assert moved.vevent.dtstart.value.isoformat() == "2026-11-26T17:30:00+00:00"
    assert cancelled.vevent.status.value == "CANCELLED"
    assert "Kestrel" not in str(request.serialize()) + str(moved.serialize())


def test_a_booking_cancelled_before_its_invite_left_sends_no_calendar_object(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    pickup.cancel(house.ctx, house.customer(), visit_id)
    house.deliver(after=91)
    assert calendars(house) == []
    assert told(house, visit_id) == [
        ("pickup_confirmed", "dropped", "booking_closed"),
        ("pickup_cancelled", "sent", ""),
    ]
    assert pickup.book(house.ctx, house.customer(), visit_id, at(10)).revision == 0
    house.deliver()
    assert [c.vevent.sequence.value for c in calendars(house)] == ["0"]


def test_a_place_is_one_customers_only_and_a_failed_move_keeps_the_old_one(house: Any) -> None:
    (first, _), (second, _), (third, _) = ready_visit(house), ready_visit(house), ready_visit(house)
    pickup.book(house.ctx, house.customer(), first, at(10))
    pickup.book(house.ctx, house.customer(), second, at(10))
    kept = pickup.book(house.ctx, house.customer(), third, at(11))
    with pytest.raises(Taken):
        pickup.book(house.ctx, house.customer(), third, at(10))
    with house.read() as unit:
        assert bookings.live_booking(unit, third) == kept
    assert all(o.slot.local != at(10) for o in pickup.offers(house.ctx, house.customer(), third))


def test_fewer_places_than_are_taken_never_let_another_one_in(house: Any) -> None:
    (first, _), (second, _), (third, _) = ready_visit(house), ready_visit(house), ready_visit(house)
    pickup.book(house.ctx, house.customer(), first, at(10))
    pickup.book(house.ctx, house.customer(), second, at(10))
    pickup.cancel(house.ctx, house.customer(), first)  # place 0 is free, place 1 is not
    set_up.add_hours(house.ctx, house.actor(), weekday=3, opens=time(9), closes=time(18), capacity=1)
    with pytest.raises(Taken):
        pickup.book(house.ctx, house.customer(), third, at(10))


def test_slots_of_another_length_still_see_the_bookings_they_overlap(house: Any) -> None:
    (first, _), (second, _), (third, _) = ready_visit(house), ready_visit(house), ready_visit(house)
    for visit in (first, second):
        pickup.book(house.ctx, house.customer(), visit, at(10, 15))
    set_up.change_settings(house.ctx, house.actor(), {"slot_minutes": 20})
    offered = {o.slot.local: o.free for o in pickup.offers(house.ctx, house.customer(), third)}
    assert at(10) not in offered and at(10, 20) not in offered and offered[at(10, 40)] == 2
    with pytest.raises(Taken):
        pickup.book(house.ctx, house.customer(), third, at(10, 20))


def test_closed_days_lead_time_and_the_horizon_are_never_offered_and_always_refused(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    set_up.add_special_day(house.ctx, house.actor(), THURSDAY, reason="stocktaking")
    set_up.add_special_day(house.ctx, house.actor(), FRIDAY, opens=time(13), closes=time(14), capacity=1)
    offered = [o.slot.local for o in pickup.offers(house.ctx, house.customer(), visit_id)]
    assert not [o for o in offered if o.date() == THURSDAY]
    assert [o.time() for o in offered if o.date() == FRIDAY] == [time(13), time(13, 15), time(13, 30), time(13, 45)]
    now = house.clock().replace(tzinfo=None)
    assert min(offered) >= now + timedelta(minutes=30) and max(offered) < now + timedelta(days=15)
    for refused, why in ((at(10), Invalid), (at(10, 0, FRIDAY), Invalid), (at(13, 7, FRIDAY), Invalid)):
        with pytest.raises(why):
            pickup.book(house.ctx, house.customer(), visit_id, refused)
    for soon in (now.replace(minute=15), now - timedelta(hours=26), at(10, 0, date(2026, 12, 21))):
        with pytest.raises((Conflict, Invalid)):
            pickup.book(house.ctx, house.customer(), visit_id, soon)


def test_the_same_request_sent_twice_books_once_even_after_a_move(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    first = pickup.book(house.ctx, house.customer(), visit_id, at(10), once="press-1")
    pickup.book(house.ctx, house.customer(), visit_id, at(11), once="press-2")
    again = pickup.book(house.ctx, house.customer(), visit_id, at(10), once="press-1")
    assert (again.id, again.local_start, again.revision) == (first.id, "2026-11-26T11:00", 1)


def test_a_device_called_back_gives_the_place_up_and_the_customer_is_told(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    house.deliver()
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", reason="fault_seen_again")
    house.deliver(after=91)
    assert [c.method.value for c in calendars(house)] == ["REQUEST", "CANCEL"]
    with house.read() as unit:
        assert bookings.live_booking(unit, visit_id) is None
    with pytest.raises(Conflict):
        pickup.book(house.ctx, house.customer(), visit_id, at(11))


def test_undoing_the_move_to_the_shelf_gives_a_place_booked_meanwhile_up(house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    house.deliver()
    moves.undo(house.ctx, house.actor(), ticket_id)
    house.deliver(after=91)
    assert [c.method.value for c in calendars(house)] == ["REQUEST", "CANCEL"]
    assert told(house, visit_id)[-1] == ("pickup_cancelled", "sent", "")
    with house.read() as unit:
        ready = [m for m in messages.messages_of_visit(unit, visit_id) if m.notice == "ready"]
    assert [(m.state, m.reason) for m in ready] == [("dropped", "undone")]


def test_a_place_stays_while_another_device_of_the_visit_can_be_collected(house: Any) -> None:
    done = house.check_in(DeviceForm("Kestrel"), DeviceForm("Otter"))
    for ticket_id in done.ticket_ids:
        shelve(house, ticket_id)
    pickup.book(house.ctx, house.customer(), done.visit_id, at(10))
    moves.move(house.ctx, house.actor(), done.ticket_ids[0], "in_line", reason="work_forgotten")
    with house.read() as unit:
        assert bookings.live_booking(unit, done.visit_id) is not None
    handover.hand_back(
        house.ctx, house.actor(), ticket_ids=[done.ticket_ids[1]], token=token_of(house, done.ticket_ids[1])
    )
    with house.read() as unit:
        assert bookings.live_booking(unit, done.visit_id) is None


@pytest.mark.long
def test_moves_cancels_and_changing_hours_leave_no_overbooked_slot_and_no_orphan_invite(house: Any) -> None:
    dice, steps, overbooked = random.Random(7), 120 if house.ctx.db.is_sqlite else 40, 0
    people = [f"visitor{n}@example.org" for n in range(4)]
    visits = {who: ready_visit(house, email=who, phone="")[0] for who in people}
    actor, owner = house.customer(), house.actor()
    for _ in range(steps):
        who = dice.choice(people)
        overbooked += one_step(house, dice, visits[who], actor, owner)
        if dice.random() < 0.4:
            house.deliver(after=dice.choice((1, 30, 600)))
    house.deliver(after=91)
    orphans = sum(orphan_invites(house, who, visits[who]) for who in people)
    print(f"FIGURE C2 interleavings={steps} overbooked={overbooked} orphan_invites={orphans}")
    assert not overbooked and not orphans


def one_step(house: Any, dice: random.Random, visit_id: str, actor: Actor, owner: Actor) -> int:
    """One random thing that a customer or the shop does; 1 when an accepted booking was one too many."""
    kind = dice.choice(("book", "book", "book", "cancel", "close", "open", "hours"))
    day = THURSDAY + timedelta(days=dice.randrange(6))
    try:
        if kind == "book":
            wanted = at(9 + dice.randrange(2), 15 * dice.randrange(2), day)
            booked = pickup.book(house.ctx, actor, visit_id, wanted)
            with house.read() as unit:
                same = bookings.bookings_between(unit, booked.start_at, booked.start_at + timedelta(seconds=1))
                return int(len(same) > 2)
        elif kind == "cancel":
            pickup.cancel(house.ctx, actor, visit_id)
        elif kind == "close":
            set_up.add_special_day(house.ctx, owner, day, reason="storm")
        elif kind == "open":
            closed_until_now(house, owner)
        else:
            capacity = dice.randrange(3)
            set_up.add_hours(house.ctx, owner, weekday=day.weekday(), opens=time(9), closes=time(18),
                             capacity=capacity, valid_from=day)  # fmt: skip
    except (Conflict, Invalid, NotFound):
        return 0
    return 0


def closed_until_now(house: Any, owner: Actor) -> None:
    """Opens every closed day again."""
    with house.read() as unit:
        days = shops.special_days(unit)
    for special_id, _, _ in days:
        set_up.drop_special_day(house.ctx, owner, special_id)


def orphan_invites(house: Any, who: str, visit_id: str) -> int:
    """Calendar entries that stand without a booking, or bookings without their entry, after all mail is read."""
    standing: dict[str, tuple[int, datetime]] = {}
    for calendar in calendars(house, who):
        event = calendar.vevent
        uid, sequence = event.uid.value, int(event.sequence.value)
        if uid in standing and sequence <= standing[uid][0]:
            return 1
        if calendar.method.value == "CANCEL":
            standing.pop(uid, None)
        else:
            standing[uid] = (sequence, event.dtstart.value)
    with house.read() as unit:
        live = bookings.live_booking(unit, visit_id)
    wanted = {live.uid: live.start_at} if live else {}
    seen = {uid: start for uid, (_, start) in standing.items()}
    return len(set(wanted.items()) ^ set(seen.items()))


def test_the_search_for_orphans_finds_an_invite_whose_cancellation_was_lost(house: Any) -> None:
    visit_id, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    house.deliver()
    assert orphan_invites(house, "ines@example.org", visit_id) == 0
    with house.ctx.db.write(house.shop_id) as unit:
        live = bookings.live_booking(unit, visit_id)
        assert live is not None
        bookings.close_booking(unit, live, "cancelled", at=house.clock())
    assert orphan_invites(house, "ines@example.org", visit_id) == 1

"""Pads of claim tickets, and what is entered from paper with its true times.

What must hold is the issue's own text (bad days: "entry later with true times", "no message is sent about what is long
past"); there is no published standard for it. The QR codes are read back by zxing-cpp, which shares no code with us.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.tickets import Phase
from notify.flows import check_in, claims, handover, moves, pads, pickup, reminders, set_up
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import bookings, events, messages, pad_tickets, past_jobs, promises, schema, tickets
from notify.store.vault import data_keys
from tests.parts.house import SHOP

pytestmark = pytest.mark.long
INES = PersonForm("Ines Farrow", "07700 900123", "ines@example.org")


def _pad(house: Any, n: int = 3) -> tuple[str, list[str]]:
    pad_id = pads.make_pad(house.ctx, house.actor(), tickets=n)
    pages, _ = pads.pages_of(house.ctx, house.actor(), pad_id)
    return pad_id, [page.number for page in pages]


def _token(house: Any, number: str) -> str:
    with house.read() as unit:
        found = pad_tickets.by_number(unit, number.replace("-", ""))
        return pad_tickets.token_of(unit, found) if found else ""


def _enter(house: Any, *numbers: str, taken_in: str = "", **device: Any) -> check_in.CheckedIn:
    devices = tuple(DeviceForm("Kestrel pocket radio", pad=number, **device) for number in numbers)
    return check_in.check_in(house.ctx, house.actor(), VisitForm(INES, devices, taken_in=taken_in))


def _story(house: Any, done: check_in.CheckedIn) -> list[Any]:
    with house.read() as unit:
        return list(events.story_of(unit, visit_id=done.visit_id))


def _wall(house: Any, **back: float) -> str:
    """The shop's clock so long ago (Europe/London in November is UTC), as a form sends it."""
    return f"{house.clock() - timedelta(**back):%Y-%m-%dT%H:%M}"


def test_what_is_entered_from_a_pad_has_the_papers_number_link_and_time(house: Any) -> None:
    _, numbers = _pad(house)
    token = _token(house, numbers[1])
    house.clock.advance(20 * 3600)
    done = _enter(house, numbers[1], taken_in=_wall(house, hours=17), promise=_wall(house, hours=1))
    with house.read() as unit:
        ticket = tickets.get_ticket(unit, done.ticket_ids[0])
        made = promises.of_ticket(unit, ticket.id)
    then = house.clock() - timedelta(hours=17)
    assert ticket.token == token and ticket.number == numbers[1].replace("-", "")
    assert (ticket.created_at, ticket.phase_since, made[0].made_at) == (then, then, then)
    story = _story(house, done)
    assert {event.kind for event in story} == {"visit_opened", "checked_in", "promise_made"}
    assert {event.at for event in story} == {then}
    with house.read() as unit:
        assert {events.recorded_at(unit, event) for event in story} == {house.clock()}
        consents = unit.connection.execute(select(schema.consents)).all()
    assert {row.at for row in consents} == {then} and {row.wording for row in consents} == {"repair-1", "pickup-2"}


def test_a_pads_sheets_come_in_their_order_though_the_clock_goes_on_while_it_is_made(house: Any) -> None:
    def ticking() -> Any:
        house.clock.advance(0.001)
        return house.clock()

    ctx = replace(house.ctx, clock=ticking)
    pages, _ = pads.pages_of(ctx, house.actor(), pads.make_pad(ctx, house.actor(), tickets=4))
    assert [page.place for page in pages] == ["1/4", "2/4", "3/4", "4/4"]


def test_no_number_of_a_pad_is_ever_given_to_another_device(house: Any) -> None:
    _, numbers = _pad(house, 2)
    wanted = [number.replace("-", "") for number in numbers]
    with house.read() as unit:
        assert all(tickets.number_taken(unit, number) for number in wanted)
        assert not tickets.number_taken(unit, "0000000")


def test_a_pads_link_says_kindly_that_it_is_on_paper_until_it_is_entered_or_void(house: Any) -> None:
    _, numbers = _pad(house)
    tokens = [_token(house, number) for number in numbers]
    for token in tokens:
        with pytest.raises(claims.NotEntered) as told:
            claims.open_claim(house.ctx, token)
        assert told.value.shop_id == house.shop_id
    done = _enter(house, numbers[0])
    assert claims.open_claim(house.ctx, tokens[0]).ticket_id == done.ticket_ids[0]
    assert pads.make_void(house.ctx, house.actor(), number=numbers[1]) == 1
    with pytest.raises(claims.UnknownClaim):
        claims.open_claim(house.ctx, tokens[1])
    with pytest.raises(Invalid, match="made void"):
        _enter(house, numbers[1])


def test_a_lost_pad_opens_nothing_any_more_and_no_key_of_it_is_left(house: Any) -> None:
    pad_id, numbers = _pad(house)
    done = _enter(house, numbers[0])
    assert pads.make_void(house.ctx, house.actor(), pad_id=pad_id) == 2
    with house.read() as unit:
        rows = unit.connection.execute(select(schema.pad_tickets)).all()
        assert tickets.get_ticket(unit, done.ticket_ids[0]).token
    assert [row.token_sealed for row in rows] == [None] * 3 and {row.token_hash for row in rows} == {None}
    with house.ctx.db.vault._engine.connect() as keys:
        assert not {row.id for row in rows} & {row.person_id for row in keys.execute(select(data_keys))}
    with pytest.raises(Conflict):
        pads.make_void(house.ctx, house.actor(), pad_id=pad_id)
    with pytest.raises(Conflict):
        pads.pages_of(house.ctx, house.actor(), pad_id)
    (pad,) = pads.list_pads(house.ctx, house.actor())
    assert (pad.tickets, len(pad.left), len(pad.entered), len(pad.void)) == (3, 0, 1, 2)


# Which number is typed, how long ago it is said to be, what the refusal says.
WRONG: tuple[tuple[str, dict[str, float], str], ...] = (
    ("same", {"hours": 1}, "was entered already"), ("none", {"hours": 1}, "No pad has"),
    ("next", {"days": 31}, "more than 30 days"), ("next", {"hours": -2}, "lies ahead"),
    ("next", {"days": 3}, "printed later"), ("twice", {"hours": 1}, "Another device has this number"),
)  # fmt: skip


def test_a_wrong_number_or_time_is_named_and_nothing_is_kept(house: Any) -> None:
    _, numbers = _pad(house)
    house.clock.advance(2 * 86400)
    _enter(house, numbers[0])
    other = house.check_in().numbers[0]
    typed = {"same": [numbers[0]], "none": [other], "next": [numbers[1]], "twice": [numbers[1]] * 2}
    for which, back, says in WRONG:
        with pytest.raises(Invalid, match=says):
            _enter(house, *typed[which], taken_in=_wall(house, **back))
    (pad,) = pads.list_pads(house.ctx, house.actor())
    assert len(pad.left) == 2


def test_a_week_old_visit_tells_its_customer_nothing_that_is_over_and_one_an_hour_old_all(house: Any) -> None:
    _, numbers = _pad(house)
    house.clock.advance(7 * 86400)
    _enter(house, numbers[0], taken_in=_wall(house, hours=7))
    house.deliver(after=1200)
    assert house.sent("email") == [] == house.sent("sms")
    with house.read() as unit:
        (skipped,) = messages.list_messages(unit, states=["skipped"])
    assert (skipped.notice, skipped.reason) == ("checked_in", "long_past")
    _enter(house, numbers[1], taken_in=_wall(house, hours=1))
    house.deliver(after=120)
    assert len(house.sent("email")) == 1


def _shelved_late(house: Any, ticket_id: str, *hours: float) -> None:
    steps = [("in_line", ""), ("on_bench", ""), ("on_shelf", "repaired")]
    for (to, outcome), back in zip(steps, hours, strict=True):
        at = house.clock() - timedelta(hours=back)
        moves.move(house.ctx, house.actor(), ticket_id, to, outcome=outcome, at=at)


def test_a_whole_repair_from_paper_is_learned_and_scored_by_its_true_times(house: Any) -> None:
    _, numbers = _pad(house)
    house.clock.advance(26 * 3600)  # Thursday 11:00; the shop was open on Wednesday until 18:00
    done = _enter(house, numbers[0], taken_in=_wall(house, hours=23), promise=_wall(house, hours=18.5))
    ticket_id = done.ticket_ids[0]
    _shelved_late(house, ticket_id, 22, 20, 19)  # on the bench from 15:00 until 16:00, promised for 16:30
    with house.read() as unit:
        job = past_jobs.of_ticket(unit, ticket_id)
        (promise,) = promises.of_ticket(unit, ticket_id)
        assert tickets.get_ticket(unit, ticket_id).phase_since == house.clock() - timedelta(hours=19)
    assert job is not None and job.minutes == 60 and job.ended_at == house.clock() - timedelta(hours=19)
    assert promise.ready_at == house.clock() - timedelta(hours=19) and promise.ready_at < promise.promise_at


def test_a_mistyped_time_that_is_taken_back_at_once_takes_nothing_off_the_work(house: Any) -> None:
    _, numbers = _pad(house)
    house.clock.advance(26 * 3600)
    ticket_id = _enter(house, numbers[0], taken_in=_wall(house, hours=23)).ticket_ids[0]
    now = house.clock()
    for to, hours in (("in_line", 22), ("on_bench", 20)):
        moves.move(house.ctx, house.actor(), ticket_id, to, at=now - timedelta(hours=hours))
    moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="repaired", at=now - timedelta(hours=19.5))
    house.clock.advance(20)
    moves.undo(house.ctx, house.actor(), ticket_id)
    moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="repaired", at=now - timedelta(hours=19))
    with house.read() as unit:
        job = past_jobs.of_ticket(unit, ticket_id)
    assert job is not None and job.minutes == 60


def test_ready_long_ago_is_told_while_it_lies_there_and_not_once_its_handover_is_typed(house: Any) -> None:
    _, numbers = _pad(house)
    house.clock.advance(26 * 3600)
    stays, goes = (_enter(house, n, taken_in=_wall(house, hours=23)).ticket_ids[0] for n in numbers[:2])
    _shelved_late(house, stays, 22, 20, 19)
    _shelved_late(house, goes, 22, 20, 19)
    house.deliver(after=600)  # whoever types is still typing
    assert house.sent("email") == [] == house.sent("sms")
    back = handover.hand_back(
        house.ctx, house.actor(), ticket_ids=[goes], checked="Ada looked at the claim ticket",
        at=house.clock() - timedelta(hours=17),
    )  # fmt: skip
    house.deliver(after=600)
    told = [*house.sent("email"), *house.sent("sms")]
    assert len(told) == 1 and back.how == "staff_check"
    with house.read() as unit:
        states = {(m.notice, m.state, m.reason) for m in messages.list_messages(unit) if m.notice != "checked_in"}
        assert tickets.get_ticket(unit, goes).phase_since == house.clock() - timedelta(hours=17, minutes=10)
    assert states == {("ready", "sent", ""), ("ready", "dropped", "no_longer_on_shelf"),
                      ("handed_back", "skipped", "long_past")}  # fmt: skip


def test_times_are_entered_in_their_order_and_a_mistyped_one_can_be_typed_again(house: Any) -> None:
    _, numbers = _pad(house)
    house.clock.advance(26 * 3600)
    ticket_id = _enter(house, numbers[0], taken_in=_wall(house, hours=20)).ticket_ids[0]
    now = house.clock()
    with pytest.raises(Invalid, match="later time"):
        moves.move(house.ctx, house.actor(), ticket_id, "in_line", at=now - timedelta(hours=21))
    with pytest.raises(Invalid, match="lies ahead"):
        moves.move(house.ctx, house.actor(), ticket_id, "in_line", at=now + timedelta(hours=1))
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", at=now - timedelta(hours=10))
    house.clock.advance(30)
    moves.undo(house.ctx, house.actor("counter"), ticket_id)  # within 90 seconds of typing, by anybody
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", at=now - timedelta(hours=19))
    moves.move(house.ctx, house.actor(), ticket_id, "on_bench", at=now - timedelta(hours=18))
    with house.read() as unit:
        assert tickets.get_ticket(unit, ticket_id).phase_since == now - timedelta(hours=18)
    house.clock.advance(100)
    with pytest.raises(NotAllowed):
        moves.undo(house.ctx, house.actor("counter"), ticket_id)
    with pytest.raises(NotAllowed, match="who made sure"):
        token = _ticket(house, ticket_id).token
        moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="repaired")
        handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token, at=house.clock())


def _ticket(house: Any, ticket_id: str) -> Any:
    with house.read() as unit:
        return tickets.get_ticket(unit, ticket_id)


def test_who_collected_on_paper_is_not_told_that_nobody_came_and_their_pickup_counts_as_kept(house: Any) -> None:
    done = house.check_in()
    _shelved_late(house, done.ticket_ids[0], 0, 0, 0)
    house.deliver(after=120)
    slot = house.clock().replace(hour=14, minute=0)
    pickup.book(house.ctx, house.actor(), done.visit_id, slot.replace(tzinfo=None))  # London in November
    house.deliver(after=120)
    said = len(house.sent("email")) + len(house.sent("sms"))
    house.clock.set(slot + timedelta(hours=18))  # the power was off from before the slot until the next morning
    assert reminders.note_missed(house.ctx, house.system()) == 1
    house.deliver(after=7200)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[done.ticket_ids[0]], checked="Ada saw the claim ticket",
                       at=slot + timedelta(minutes=10))  # fmt: skip
    house.deliver(after=7200)
    assert len(house.sent("email")) + len(house.sent("sms")) == said
    with house.read() as unit:
        assert bookings.missed_counts(unit, [done.visit_id]) == {}
        assert tickets.get_ticket(unit, done.ticket_ids[0]).phase is Phase.HANDED_BACK


def test_no_pad_of_another_shop_is_found_printed_or_made_void(house: Any) -> None:
    pad_id, numbers = _pad(house)
    other = Actor(set_up.make_shop(house.ctx, settings={**SHOP, "name": "Ropewalk Bench"}), "staff", "s9", "owner")
    assert pads.list_pads(house.ctx, other) == ()
    assert pads.blank_number(house.ctx, other, number=numbers[0]) == ""
    assert pads.blank_number(house.ctx, other, token=_token(house, numbers[0])) == ""
    for wrong in ({"pad_id": pad_id}, {"number": numbers[0]}):
        with pytest.raises(NotFound):
            pads.make_void(house.ctx, other, **wrong)
    with pytest.raises(NotFound):
        pads.pages_of(house.ctx, other, pad_id)
    form = VisitForm(INES, (DeviceForm("Kestrel pocket radio", pad=numbers[0]),))
    with pytest.raises(Invalid, match="No pad has"):
        check_in.check_in(house.ctx, other, form)

"""Dropped off in the evening, half an hour on the bench, home before noon (common practice, no source)."""

from __future__ import annotations

from datetime import UTC, datetime, time
from email import message_from_bytes, policy
from typing import Any

import pytest

from notify.core.errors import NotAllowed
from notify.core.tickets import Phase, WaitsOn
from notify.flows import forecast, handover, moves, parts, pickup, promises, questions, set_up, staff
from notify.flows.check_in_form import DeviceForm
from notify.store import suppliers, tickets


@pytest.fixture
def ticket_id(house: Any) -> str:
    """A camera handed in at 17:20 on a Wednesday, with a supplier that delivers overnight, and mostly did."""
    house.clock.set(datetime(2026, 11, 25, 17, 20, tzinfo=UTC))
    staff.add_staff(house.ctx, house.actor(), name="Odile", role="technician", password="four kind words", pin="4711")
    supplier = set_up.put_supplier(
        house.ctx, house.actor(), name="Breakwater Parts", cutoff=time(18), delivers_at=time(8, 45), days=1
    )
    with house.ctx.db.write(house.shop_id) as unit:
        suppliers.put_delays(unit, supplier, [58, 2])
    return str(house.check_in(DeviceForm("Plover folding camera", device_class="camera")).ticket_ids[0])


def at(house: Any, day: int, hour: int, minute: int) -> None:
    """Moves the clock (London is on UTC in November) and lets everything due leave."""
    house.clock.set(datetime(2026, 11, day, hour, minute, tzinfo=UTC))
    house.deliver()


def waits(house: Any, ticket_id: str) -> WaitsOn:
    with house.read() as unit:
        return moves.waits_on(unit, tickets.get_ticket(unit, ticket_id))


def texts(house: Any) -> list[str]:
    """Every text message that left, as its reader sees it."""
    mails = [message_from_bytes(sent.payload, policy=policy.default) for sent in house.sent("sms")]
    return [mail.get_content() for mail in mails]


def test_the_usual_repair_is_promised_told_and_home_before_noon(house: Any, ticket_id: str) -> None:
    ctx, tech = house.ctx, house.actor("technician")
    moves.move(ctx, tech, ticket_id, "inspecting")
    part_id = parts.need(ctx, tech, ticket_id, name="shutter spring, black")
    question = questions.ask(ctx, tech, ticket_id, kind="price", wording="A new shutter spring, fitted.", price="38")
    assert waits(house, ticket_id) is WaitsOn.CUSTOMER
    assert forecast.suggest(ctx, tech, ticket_id) is None  # no part ordered yet: no promise yet
    at(house, 25, 17, 22)
    questions.answer(ctx, house.customer(), question, answer="accept", ticket_id=ticket_id)
    assert waits(house, ticket_id) is WaitsOn.PART
    moves.move(ctx, tech, ticket_id, "in_line")
    at(house, 25, 17, 40)
    due = parts.order(ctx, tech, part_id, supplier="Breakwater Parts")
    assert due == datetime(2026, 11, 26, 8, 45, tzinfo=UTC)

    suggested = forecast.suggest(ctx, tech, ticket_id)
    # It opens at 9:00; half an hour on the bench, as far as is known, and some minutes of proving: late morning.
    assert suggested is not None
    assert datetime(2026, 11, 26, 10, tzinfo=UTC) <= suggested <= datetime(2026, 11, 26, 12, tzinfo=UTC)
    promises.promise(ctx, tech, ticket_id, suggested)

    at(house, 26, 8, 50)
    arrived = parts.arrive(ctx, house.actor("counter"), part_id)
    assert arrived.frees and waits(house, ticket_id) is WaitsOn.BENCH
    house.deliver(after=91)
    assert house.sent("email")[-1].to in ("bench@example.org", "ines@example.org")
    at(house, 26, 9, 5)
    for phase in ("on_bench", "proving", "on_shelf"):
        moves.move(ctx, tech, ticket_id, phase)
        house.clock.advance(12 * 60)
    assert house.clock() <= datetime(2026, 11, 26, 9, 45, tzinfo=UTC)
    house.deliver()
    ready = [text for text in texts(house) if "can be collected" in text]
    assert len(ready) == 1, texts(house)

    with house.read() as unit:
        ticket = tickets.get_ticket(unit, ticket_id)
    first = pickup.offers(ctx, house.customer(), ticket.visit_id)[0]
    booking = pickup.book(ctx, house.customer(), ticket.visit_id, first.slot.local, once="tap-1")
    assert booking.start_at < datetime(2026, 11, 26, 12, tzinfo=UTC)
    house.deliver()
    assert any(sent.to == "ines@example.org" and b"text/calendar" in sent.payload for sent in house.sent("email"))
    at(house, 26, 10, 20)
    handover.hand_back(ctx, house.actor("counter"), ticket_ids=[ticket_id], token=ticket.token)
    with house.read() as unit:
        assert tickets.get_ticket(unit, ticket_id).phase is Phase.HANDED_BACK
    assert house.clock() < datetime(2026, 11, 26, 12, tzinfo=UTC)


def test_ordered_after_the_cut_off_it_comes_a_day_later_and_over_the_weekend_on_monday(
    house: Any, ticket_id: str
) -> None:
    ctx, tech = house.ctx, house.actor("technician")
    late = parts.need(ctx, tech, ticket_id, name="spring")
    at(house, 25, 18, 1)
    assert parts.order(ctx, tech, late, supplier="Breakwater Parts") == datetime(2026, 11, 27, 8, 45, tzinfo=UTC)
    friday = parts.need(ctx, tech, ticket_id, name="screw")
    at(house, 27, 18, 30)
    assert parts.order(ctx, tech, friday, supplier="Breakwater Parts") == datetime(2026, 12, 1, 8, 45, tzinfo=UTC)


def test_a_yes_can_be_taken_back_until_the_part_is_ordered(house: Any, ticket_id: str) -> None:
    ctx, tech = house.ctx, house.actor("technician")
    part_id = parts.need(ctx, tech, ticket_id, name="spring")
    question = questions.ask(ctx, tech, ticket_id, kind="price", wording="A spring.", price="38")
    questions.answer(ctx, house.customer(), question, answer="accept", ticket_id=ticket_id)
    questions.take_back(ctx, house.customer(), question, ticket_id=ticket_id)
    questions.answer(ctx, house.customer(), question, answer="accept", ticket_id=ticket_id)
    house.clock.advance(60)
    parts.order(ctx, tech, part_id, supplier="Breakwater Parts")
    with pytest.raises(NotAllowed, match="ordered"):
        questions.take_back(ctx, house.customer(), question, ticket_id=ticket_id)

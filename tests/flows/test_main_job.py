"""The main job from check-in to forgetting, as a shop lives it."""

from __future__ import annotations

from datetime import timedelta
from email import message_from_bytes, policy
from typing import Any

from notify.core.claim_number import show_number
from notify.flows import forget, handover, moves
from notify.flows.check_in_form import DeviceForm
from notify.store import messages, tickets


def mail(outgoing: Any) -> Any:
    return message_from_bytes(outgoing.payload, policy=policy.default)


def test_a_repair_goes_from_check_in_to_forgetting(house: Any) -> None:
    done = house.check_in(DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound", price_agreed="30"))
    ticket_id = done.ticket_ids[0]
    assert house.deliver() == 0  # the bell waits a moment
    house.deliver(after=91)
    assert len(house.sent("email")) == 1
    first = mail(house.sent("email")[0])
    assert first["To"] == "ines@example.org"
    assert show_number(done.numbers[0]) in first.get_body(("plain",)).get_content()

    for phase in ("inspecting", "in_line", "on_bench", "proving", "on_shelf"):
        house.clock.advance(600)
        moves.move(house.ctx, house.actor(), ticket_id, phase)
    house.deliver(after=91)
    assert len(house.sent("sms")) == 1
    with house.read() as unit:
        token = tickets.get_ticket(unit, ticket_id).token
    text = mail(house.sent("sms")[0]).get_content()
    assert f"https://bell.example.org/c/{token}" in text

    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token)
    house.deliver(after=91)
    assert len(house.sent("email")) == 2

    with house.ctx.db.write(house.shop_id) as unit:
        tickets.change_ticket(unit, tickets.get_ticket(unit, ticket_id), paid=True)
    house.clock.advance(timedelta(days=91).total_seconds())
    dry = forget.forget(house.ctx, house.system(), dry_run=True)
    assert len(dry.due) == 1 and not dry.counts
    real = forget.forget(house.ctx, house.system())
    assert real.due == dry.due and real.confirmed
    with house.read() as unit:
        left = tickets.find_by_number(unit, done.numbers[0])
        assert (left.device, left.fault, left.token) == ("", "", "")
        assert left.phase == "handed_back"
        assert {m.state for m in messages.messages_of_visit(unit, done.visit_id)} == {"sent"}

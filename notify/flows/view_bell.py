"""What rang at the shop just now, for the line on the day sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.flows.context import Context
from notify.store import events, rung, tickets
from notify.store.database import Unit
from notify.store.messages import Message
from notify.store.tickets import Ticket

SHOWN_FOR, MOST = timedelta(hours=1), 5


@dataclass(frozen=True, slots=True)
class Rang:
    """One ring: what happened (the kind of its event), about which device. `device` is empty once forgotten."""

    stamp: int
    at: datetime
    kind: str
    ticket_id: str
    number: str
    device: str
    device_class: str


def view(ctx: Context, actor: Actor) -> tuple[Rang, ...]:
    """What rang within the last hour, at most five, the newest first; each happening once, by however many ways."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = rung.rung_since(unit, ctx.clock() - SHOWN_FOR)
        once = {m.refs.get("event", m.cause): m for m in reversed(found)}
        shown = sorted(once.values(), key=lambda m: -m.seq)[:MOST]
        visits = tickets.tickets_of_visits(unit, {m.visit_id for m in shown})
        return tuple(_rang(unit, m, visits[m.visit_id]) for m in shown)


def _rang(unit: Unit, message: Message, whole: tuple[Ticket, ...]) -> Rang:
    event = events.get_event(unit, str(message.refs.get("event", "")))
    thing = message.about.partition(":")[2]
    ticket = next((t for t in whole if t.id == thing), whole[0])
    return Rang(message.seq, message.created_at, event.kind if event else message.notice, ticket.id,
                show_number(ticket.number), ticket.device, ticket.device_class)  # fmt: skip

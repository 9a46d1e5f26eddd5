"""One part as a page about it shows it."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.flows.another_came import is_asked
from notify.flows.context import Context
from notify.store import parts, tickets


@dataclass(frozen=True, slots=True)
class PartSeen:
    """A part beside its ticket; `asked`: the customer has an open question about it."""

    part_id: str
    ticket_id: str
    number: str
    device: str
    name: str
    state: str
    asked: bool


def part_seen(ctx: Context, actor: Actor, part_id: str) -> PartSeen:
    """The part; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id)
        ticket = tickets.get_ticket(unit, part.ticket_id)
        return PartSeen(
            part.id, ticket.id, show_number(ticket.number), ticket.device, part.name, part.state, is_asked(unit, part)
        )

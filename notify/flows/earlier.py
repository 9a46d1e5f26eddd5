"""What happened earlier and is entered now: parts that came in while nothing could be written down."""

from __future__ import annotations

from datetime import datetime

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.late_entry import last_of_work, need_after, need_past
from notify.core.parts import PartState
from notify.flows.arrivals import Arrived, arrive_within
from notify.flows.context import Context
from notify.store import events, parts, tickets
from notify.store.database import Unit


def part_came(ctx: Context, actor: Actor, part_id: str, *, at: datetime) -> Arrived:
    """Books a part in at the time when it came: for the ticket that it was ordered for, whatever else it would fit.

    Raises Invalid for a time that lies ahead, or before the order or what happened to the device before.
    """
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.ARRIVED)
        came = need_past(at, now=ctx.clock(), field="at")
        if part.ordered_at is not None and came < part.ordered_at:
            raise Invalid("The part was ordered later than that", "Look at the time again.", field="at")
        ticket = tickets.get_job(unit, part.ticket_id)
        story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
        need_after(came, story, ticket.id, field="at")
        return arrive_within(ctx, unit, actor, part, at=came)


def last_known(ctx: Context, actor: Actor, ticket_id: str) -> datetime | None:
    """When something was done to a device last: nothing of its work can be entered for a time before that."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return _last(unit, ticket_id)


def _last(unit: Unit, ticket_id: str) -> datetime | None:
    ticket = tickets.get_ticket(unit, ticket_id)
    return last_of_work(events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id), ticket.id)

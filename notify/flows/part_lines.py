"""What every flow about parts shares: noting one, its supplier's habits, its events, and what frees a ticket."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from notify.core import claim_number
from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.bench_order import IN_WORK
from notify.core.errors import Invalid
from notify.core.events import Event
from notify.core.hours import Counter
from notify.core.tickets import OPEN_PHASES
from notify.core.working_days import Supplier
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import events, outbox, parts, shops, suppliers, tickets
from notify.store.database import Unit
from notify.store.parts import OrderLine, Part

# What belongs to an order line, and goes along when a piece is given to another ticket.
LINE = ("state", "supplier_id", "ordered_at", "due_at", "arrived_at", "order_ref", "slip", "cost", "late_days")


def add(
    ctx: Context, unit: Unit, actor: Actor, ticket_id: str, name: str, *, article: str = "",
    instead_of: str | None = None,
) -> str:  # fmt: skip
    """Notes that a part is missing and gives it a label; its identifier. Raises Invalid for a closed ticket."""
    ticket = tickets.get_ticket(unit, ticket_id)
    if ticket.phase not in OPEN_PHASES:
        raise Invalid("This ticket is closed", "Open a new one for another repair.", field="part")
    while parts.label_taken(unit, label := claim_number.new_part_code(ctx.pick)):
        pass
    new = parts.add_part(
        unit, ticket_id=ticket_id, person_id=ticket.person_id, name=name, label=label, at=ctx.clock(),
        article=article, instead_of=instead_of,
    )  # fmt: skip
    tell(ctx, unit, actor, "part_needed", parts.get_part(unit, new))
    return new


def brings(ctx: Context, unit: Unit, supplier: Any) -> tuple[Supplier, Counter]:
    """The habits of a supplier's row, and the counter that it brings to."""
    shop = ctx.shop(unit)
    return suppliers.habits_of(unit, supplier, zone=shop.zone), shops.get_counter(unit, shop)


def tell(
    ctx: Context, unit: Unit, actor: Actor, kind: str, part: Part | OrderLine, *, silent: bool = False,
    at: datetime | None = None, **codes: str | int,
) -> Event:  # fmt: skip
    """Appends an event about a part to the story of its ticket; empty codes are left out."""
    ticket = tickets.get_job(unit, part.ticket_id)
    told = {"part": part.id, **{key: value for key, value in codes.items() if value != ""}}
    return record(ctx, unit, actor, kind, visit_id=ticket.visit_id, ticket_id=ticket.id, codes=told, at=at,
                  silent=silent)  # fmt: skip


def is_wanted(unit: Unit, ticket_id: str) -> bool:
    """Whether the repair of a ticket still goes on, so that it has a use for its parts."""
    return tickets.get_job(unit, ticket_id).phase in IN_WORK


def tell_if_complete(ctx: Context, unit: Unit, actor: Actor, part: Part, *, at: datetime | None = None) -> bool:
    """Tells that the last missing part of a ticket is here, if that is so."""
    ticket = tickets.get_job(unit, part.ticket_id)
    if rules.count_missing(one.state for one in parts.parts_of(unit, ticket.id)) or ticket.phase not in IN_WORK:
        return False
    tell(ctx, unit, actor, "parts_complete", part, bench=ticket.technician_id or "", at=at)
    return True


def withdraw_arrival(ctx: Context, unit: Unit, part: Part) -> str:
    """Withdraws what was not sent yet of a part's arrival, and of the ticket being free since; the arrival's event."""
    ticket = tickets.get_job(unit, part.ticket_id)
    whole = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    story = [event for event in whole if event.ticket_id == ticket.id]
    mine = [n for n, e in enumerate(story) if e.kind == "part_arrived" and e.codes.get("part") == part.id]
    last = max(mine, default=-1)
    if last < 0:
        return ""
    causes = [e.id for e in story[last:] if e.kind in ("part_arrived", "parts_complete")]
    outbox.withdraw(unit, causes=causes, now=ctx.clock(), reason="undone")
    return story[last].id


def trade_lines(unit: Unit, one: Part, other: Part) -> None:
    """Each takes the order line of the other, and where it stands."""
    for mine, theirs in ((one, other), (other, one)):
        parts.change_part(unit, mine, told_late_at=None, **{name: getattr(theirs, name) for name in LINE})

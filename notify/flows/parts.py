"""Parts of a ticket: needed, ordered, due date moved, arrived, dead on arrival, not needed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from notify.core import claim_number
from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.instants import need_near
from notify.core.parts import PartState
from notify.core.text import clean_line
from notify.core.tickets import OPEN_PHASES
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import parts, shops, tickets
from notify.store.database import Unit
from notify.store.parts import Part


@dataclass(frozen=True, slots=True)
class Arrived:
    """A part that came in: whether it was the last one missing, and who should bench the ticket."""

    part_id: str
    ticket_id: str
    number: str
    frees: bool
    bench: str


def need(
    ctx: Context, actor: Actor, ticket_id: str, *, name: str, supplier: str = "", due: datetime | date | None = None
) -> str:
    """Notes that a part is missing and gives it a label for its bag; the identifier.

    With a supplier it is ordered in the same step; then `order` says what is raised.
    """
    actor.need("order_part")
    words = clean_line(name, field="part")
    if not words:
        raise Invalid("The part has no name", "Say in a few words which part.", field="part")
    with ctx.db.write(actor.shop_id) as unit:
        new = _add(ctx, unit, actor, ticket_id, words)
        if supplier:
            _order(ctx, unit, actor, parts.get_part(unit, new), supplier=supplier, due=due)
        return new


def _add(ctx: Context, unit: Unit, actor: Actor, ticket_id: str, name: str) -> str:
    ticket = tickets.get_ticket(unit, ticket_id)
    if ticket.phase not in OPEN_PHASES:
        raise Invalid("This ticket is closed", "Open a new one for another repair.", field="part")
    while parts.label_taken(unit, label := claim_number.new_part_code(ctx.pick)):
        pass
    new = parts.add_part(unit, ticket_id=ticket_id, person_id=ticket.person_id, name=name, label=label, at=ctx.clock())
    _record(ctx, unit, actor, "part_needed", parts.get_part(unit, new))
    return new


def order(
    ctx: Context, actor: Actor, part_id: str, *, supplier: str, due: datetime | date | None = None
) -> datetime | None:
    """Notes the order; when it is due comes from `due` or the supplier's habits. The due instant.

    A `due` that is a day only takes the supplier's usual hour. Raises Invalid for a time that is past.
    """
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        return _order(ctx, unit, actor, parts.get_part(unit, part_id, lock=True), supplier=supplier, due=due)


def _order(
    ctx: Context, unit: Unit, actor: Actor, part: Part, *, supplier: str, due: datetime | date | None
) -> datetime:
    rules.check_move(part.state, PartState.ORDERED)
    shop, now = ctx.shop(unit), ctx.clock()
    found = shops.find_supplier(unit, supplier)
    expected = due_instant(due, found, zone=shop.zone) if due else usual_delivery(found, now=now, zone=shop.zone)
    expected = need_near(expected, now=now, field="due")
    if expected <= now:
        raise Invalid("The part would be due in the past", "Name a later time.", field="due")
    parts.change_part(unit, part, state=PartState.ORDERED, supplier_id=found.id, ordered_at=now, due_at=expected)
    _record(ctx, unit, actor, "part_ordered", part)
    return expected


def due_instant(due: datetime | date, supplier: object, *, zone: str) -> datetime:
    """An instant as it is; a day at the supplier's usual hour, 10:00 where none is known."""
    if isinstance(due, datetime):
        return due
    at = getattr(supplier, "delivers_at", None) or time(10)
    return datetime.combine(due, at.replace(tzinfo=None), ZoneInfo(zone))


def usual_delivery(supplier: object, *, now: datetime, zone: str) -> datetime:
    """When this supplier usually delivers what is ordered now: `days` working days on, one more after the cut-off.

    Monday to Friday count; a simple habit until lead times are learned. Common practice, no source.
    """
    cutoff, days = supplier.cutoff, supplier.days  # type: ignore[attr-defined]
    local = now.astimezone(ZoneInfo(zone))
    left = days + (1 if cutoff is not None and local.time() >= cutoff else 0)
    day = local.date()
    while left > 0:
        day += timedelta(days=1)
        if day.weekday() < 5:
            left -= 1
    return due_instant(day, supplier, zone=zone)


def change_due(ctx: Context, actor: Actor, part_id: str, *, due: datetime | date) -> None:
    """Notes another delivery time; a day only takes the supplier's usual hour."""
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        if part.state != PartState.ORDERED:
            raise Invalid(f"A part that is {part.state} has no delivery time", "Order it first.", field="due")
        found = next((row for row in shops.list_suppliers(unit) if row.id == part.supplier_id), None)
        expected = need_near(due_instant(due, found, zone=ctx.shop(unit).zone), now=ctx.clock(), field="due")
        parts.change_part(unit, part, due_at=expected)
        _record(ctx, unit, actor, "part_due_changed", part)


def arrive(ctx: Context, actor: Actor, part_id: str) -> Arrived:
    """Books a part in, by identifier or bag label; the last one missing tells the shop which ticket it frees."""
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.ARRIVED)
        parts.change_part(unit, part, state=PartState.ARRIVED, arrived_at=ctx.clock())
        ticket = tickets.get_ticket(unit, part.ticket_id)
        frees = rules.count_missing(p.state for p in parts.parts_of(unit, ticket.id)) == 0
        bench = ticket.technician_id or ""
        _record(ctx, unit, actor, "part_arrived", part)
        if frees:
            _record(ctx, unit, actor, "parts_complete", part, bench=bench)
        return Arrived(part.id, ticket.id, ticket.number, frees, bench)


def dead_on_arrival(ctx: Context, actor: Actor, part_id: str) -> str:
    """Notes that a part came in dead, and that another one is needed; the new part's identifier."""
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.DEAD)
        parts.change_part(unit, part, state=PartState.DEAD)
        _record(ctx, unit, actor, "part_dead", part)
        return _add(ctx, unit, actor, part.ticket_id, part.name)  # together: between the two it would seem free


def not_needed(ctx: Context, actor: Actor, part_id: str) -> None:
    """Notes that a part is no longer wanted."""
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.NOT_NEEDED)
        parts.change_part(unit, part, state=PartState.NOT_NEEDED)
        _record(ctx, unit, actor, "part_not_needed", part)


def _record(ctx: Context, unit: Unit, actor: Actor, kind: str, part: Part, **codes: str | int) -> None:
    ticket = tickets.get_ticket(unit, part.ticket_id)
    told = {"part": part.id, **{key: value for key, value in codes.items() if value != ""}}
    record(ctx, unit, actor, kind, visit_id=ticket.visit_id, ticket_id=ticket.id, codes=told)

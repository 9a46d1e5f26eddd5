"""Parts of a ticket: needed, ordered, due date moved, arrived, dead on arrival, not needed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from notify.core import claim_number
from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.hours import Counter, next_opening
from notify.core.instants import need_near
from notify.core.parts import PartState
from notify.core.text import clean_line
from notify.core.tickets import OPEN_PHASES
from notify.core.working_days import Supplier, arrival, at_hour, late_by
from notify.flows.context import Context
from notify.flows.record import record
from notify.forecast import lead_times
from notify.store import parts, shops, suppliers, tickets
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
    now, found = ctx.clock(), shops.find_supplier(unit, supplier)
    habits, counter = _brings(ctx, unit, found)
    expected = due_instant(due, habits, counter) if due else arrival(habits, now, counter)
    expected = need_near(expected, now=now, field="due")
    if expected <= now:
        raise Invalid("The part would be due in the past", "Name a later time.", field="due")
    parts.change_part(unit, part, state=PartState.ORDERED, supplier_id=found.id, ordered_at=now, due_at=expected)
    _record(ctx, unit, actor, "part_ordered", part)
    return expected


def due_instant(due: datetime | date, habits: Supplier, counter: Counter) -> datetime:
    """An instant as it is; a day at the supplier's usual hour."""
    return due if isinstance(due, datetime) else at_hour(habits, due, counter)


def change_due(ctx: Context, actor: Actor, part_id: str, *, due: datetime | date) -> None:
    """Notes another delivery time, also one that is past; a day only takes the supplier's usual hour.

    Raises Invalid for one more than a day before it was ordered.
    """
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        if part.state != PartState.ORDERED:
            raise Invalid(f"A part that is {part.state} has no delivery time", "Order it first.", field="due")
        habits, counter = _brings(ctx, unit, shops.find_supplier(unit, part.supplier_id or ""))
        expected = need_near(due_instant(due, habits, counter), now=ctx.clock(), field="due")
        if part.ordered_at is not None and expected < part.ordered_at - timedelta(days=1):
            raise Invalid("The part would be due before it was ordered", "Look at the day and the year.", field="due")
        parts.change_part(unit, part, due_at=expected)
        _record(ctx, unit, actor, "part_due_changed", part)


def arrive(ctx: Context, actor: Actor, part_id: str) -> Arrived:
    """Books a part in, by identifier or bag label; the last one missing tells the shop which ticket it frees."""
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.ARRIVED)
        parts.change_part(unit, part, state=PartState.ARRIVED, arrived_at=ctx.clock())
        _learn_delay(ctx, unit, part)
        ticket = tickets.get_ticket(unit, part.ticket_id)
        frees = rules.count_missing(p.state for p in parts.parts_of(unit, ticket.id)) == 0
        bench = ticket.technician_id or ""
        _record(ctx, unit, actor, "part_arrived", part)
        if frees:
            _record(ctx, unit, actor, "parts_complete", part, bench=bench)
        return Arrived(part.id, ticket.id, ticket.number, frees, bench)


def _learn_delay(ctx: Context, unit: Unit, part: Part) -> None:
    """Counts how late the part came, by the last time that was named for it; once for all that was due together.

    A box that came while the shop was shut counts as here when it opened: nobody could book it in before.
    """
    if not part.supplier_id or part.due_at is None or suppliers.parcel_came(unit, part):
        return
    row = shops.find_supplier(unit, part.supplier_id)
    habits, counter = _brings(ctx, unit, row)
    due = next_opening(counter, part.due_at) or part.due_at
    days = late_by(habits, due, ctx.clock(), counter)
    suppliers.put_delays(unit, row.id, lead_times.learned(row.delays, days))


def _brings(ctx: Context, unit: Unit, supplier: Any) -> tuple[Supplier, Counter]:
    """The habits of a supplier's row, and the counter that it brings to."""
    shop = ctx.shop(unit)
    return suppliers.habits_of(unit, supplier, zone=shop.zone), shops.get_counter(unit, shop)


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

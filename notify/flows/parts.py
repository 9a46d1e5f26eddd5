"""Parts of a ticket: needed, ordered alone or several together, due date moved, order ended, not needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.hours import Counter
from notify.core.instants import need_near
from notify.core.money import parse_amount
from notify.core.parts import PartState
from notify.core.text import clean_line
from notify.core.working_days import Supplier, arrival, at_hour
from notify.flows.arrivals import Arrived, arrive, dead_on_arrival
from notify.flows.context import Context
from notify.flows.part_lines import add, brings, tell
from notify.store import parts, shops
from notify.store.database import Unit
from notify.store.parts import Part

__all__ = ["Arrived", "Terms", "arrive", "change_due", "dead_on_arrival", "end_order", "need", "not_needed",
           "note_line", "order", "order_together"]  # fmt: skip
_LONGEST = 60  # characters of an article, an order number or a packing slip


@dataclass(frozen=True, slots=True)
class Terms:
    """What is known of an order line: the supplier's name of the article, the shop's order number, the packing slip
    that it comes with, and what one piece costs the shop (text in its currency). Empty: nothing new is known.
    """

    article: str = ""
    order_ref: str = ""
    slip: str = ""
    cost: str = ""


_NONE = Terms()


def need(
    ctx: Context, actor: Actor, ticket_id: str, *, name: str, supplier: str = "", due: datetime | date | None = None,
    terms: Terms = _NONE, quantity: int = 1,
) -> str:  # fmt: skip
    """Notes that a part is missing and gives it a label for its bag; the identifier.

    With a supplier it is ordered in the same step; then `order` says what is raised. Each of a `quantity` of pieces
    is a part of its own, since one may come without the others; the identifier is that of the first.
    """
    actor.need("order_part")
    words = clean_line(name, field="part")
    if not words:
        raise Invalid("The part has no name", "Say in a few words which part.", field="part")
    if not 1 <= quantity <= rules.MOST_AT_ONCE:
        raise Invalid(f"{quantity} pieces are not noted at once", f"From 1 to {rules.MOST_AT_ONCE}.", field="quantity")
    with ctx.db.write(actor.shop_id) as unit:
        columns = _columns(ctx, unit, terms)
        new = [add(ctx, unit, actor, ticket_id, words, article=columns.get("article", "")) for _ in range(quantity)]
        if supplier:
            order_within(ctx, unit, actor, new, supplier=supplier, due=due, columns=columns)
        return new[0]


def order(
    ctx: Context, actor: Actor, part_id: str, *, supplier: str, due: datetime | date | None = None, terms: Terms = _NONE
) -> datetime:
    """Notes the order; when it is due comes from `due` or the supplier's habits. The due instant.

    A `due` that is a day only takes the supplier's usual hour. Raises Invalid for a time that is past.
    """
    return order_together(ctx, actor, [part_id], supplier=supplier, due=due, terms=terms)


def order_together(
    ctx: Context, actor: Actor, part_ids: Sequence[str], *, supplier: str, due: datetime | date | None = None,
    terms: Terms = _NONE,
) -> datetime:  # fmt: skip
    """Notes one order for several parts, of one ticket or of many: all of them, or with an error none."""
    actor.need("order_part")
    if not part_ids:
        raise Invalid("No part is named", "Name those that were ordered.", field="part")
    with ctx.db.write(actor.shop_id) as unit:
        return order_within(
            ctx, unit, actor, part_ids, supplier=supplier, due=due, columns=_columns(ctx, unit, terms)
        )  # fmt: skip


def order_within(
    ctx: Context, unit: Unit, actor: Actor, part_ids: Sequence[str], *, supplier: str, due: datetime | date | None,
    columns: dict[str, Any],
) -> datetime:  # fmt: skip
    """Like order_together, inside the caller's transaction, with what is known of the line as its columns."""
    now, found = ctx.clock(), shops.find_supplier(unit, supplier)
    habits, counter = brings(ctx, unit, found)
    expected = due_instant(due, habits, counter) if due else arrival(habits, now, counter)
    expected = need_near(expected, now=now, field="due")
    if expected <= now:
        raise Invalid("The part would be due in the past", "Name a later time.", field="due")
    for part_id in dict.fromkeys(part_ids):
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.ORDERED)
        if part.state != PartState.NEEDED:
            raise Invalid(f"A part that is {part.state} is not ordered", "Note a new part.", field="part")
        parts.change_part(unit, part, state=PartState.ORDERED, supplier_id=found.id, ordered_at=now, due_at=expected,
                          told_late_at=None, **columns)  # fmt: skip
        tell(ctx, unit, actor, "part_ordered", part)
    return expected


def _columns(ctx: Context, unit: Unit, terms: Terms) -> dict[str, Any]:
    """What is newly known of an order line, as its columns."""
    given = {"article": terms.article, "order_ref": terms.order_ref, "slip": terms.slip}
    found: dict[str, Any] = {name: clean_line(text, field=name, limit=_LONGEST) for name, text in given.items()}
    if terms.cost.strip():
        found["cost"] = parse_amount(terms.cost, currency=ctx.shop(unit).currency)
    return {name: value for name, value in found.items() if value != ""}


def note_line(ctx: Context, actor: Actor, part_ids: Sequence[str], *, terms: Terms) -> None:
    """Notes what became known of an order line, such as its packing slip; what is empty stays as it is."""
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        columns = _columns(ctx, unit, terms)
        for part_id in dict.fromkeys(part_ids):
            note_columns(ctx, unit, actor, parts.get_part(unit, part_id, lock=True), columns)


def note_columns(ctx: Context, unit: Unit, actor: Actor, part: Part, columns: dict[str, Any]) -> bool:
    """Like note_line for one part, inside the caller's transaction; whether anything was new."""
    new = {name: value for name, value in columns.items() if getattr(part, name) != value}
    if new:
        parts.change_part(unit, part, **new)
        tell(ctx, unit, actor, "part_line_noted", part)
    return bool(new)


def due_instant(due: datetime | date, habits: Supplier, counter: Counter) -> datetime:
    """An instant as it is; a day at the supplier's usual hour."""
    return due if isinstance(due, datetime) else at_hour(habits, due, counter)


def change_due(ctx: Context, actor: Actor, part_id: str, *, due: datetime | date) -> None:
    """Notes another delivery time, also one that is past; a day only takes the supplier's usual hour.

    Raises Invalid for one more than a day before it was ordered.
    """
    change_due_of(ctx, actor, [part_id], due=due)


def change_due_of(ctx: Context, actor: Actor, part_ids: Sequence[str], *, due: datetime | date) -> None:
    """Like change_due for all parts of a box together: all of them, or with an error none."""
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        for part_id in dict.fromkeys(part_ids):
            change_due_within(ctx, unit, actor, parts.get_part(unit, part_id, lock=True), due=due)


def change_due_within(ctx: Context, unit: Unit, actor: Actor, part: Part, *, due: datetime | date) -> bool:
    """Like change_due for one part, inside the caller's transaction; whether it is another time."""
    if part.state != PartState.ORDERED:
        raise Invalid(f"A part that is {part.state} has no delivery time", "Order it first.", field="due")
    habits, counter = brings(ctx, unit, shops.find_supplier(unit, part.supplier_id or ""))
    expected = need_near(due_instant(due, habits, counter), now=ctx.clock(), field="due")
    if part.ordered_at is not None and expected < part.ordered_at - timedelta(days=1):
        raise Invalid("The part would be due before it was ordered", "Look at the day and the year.", field="due")
    if expected == part.due_at:
        return False
    parts.change_part(unit, part, due_at=expected, told_late_at=None)
    tell(ctx, unit, actor, "part_due_changed", part)
    return True


def end_order(ctx: Context, actor: Actor, part_id: str) -> None:
    """Notes that an order came to nothing: the part has to be ordered again, from whomever."""
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        end_order_within(ctx, unit, actor, parts.get_part(unit, part_id, lock=True))


def end_order_within(ctx: Context, unit: Unit, actor: Actor, part: Part) -> None:
    """Like end_order, inside the caller's transaction."""
    if part.state != PartState.ORDERED:
        raise Invalid(f"A part that is {part.state} is on no order", "Look at the deliveries list.", field="part")
    parts.change_part(unit, part, state=PartState.NEEDED, supplier_id=None, ordered_at=None, due_at=None, order_ref="",
                      slip="", cost=None, told_late_at=None)  # fmt: skip
    tell(ctx, unit, actor, "part_order_ended", part)


def not_needed(ctx: Context, actor: Actor, part_id: str) -> None:
    """Notes that a part is no longer wanted; one that is here goes back to its supplier."""
    actor.need("order_part")
    with ctx.db.write(actor.shop_id) as unit:
        not_needed_within(ctx, unit, actor, parts.get_part(unit, part_id, lock=True))


def not_needed_within(ctx: Context, unit: Unit, actor: Actor, part: Part) -> None:
    """Like not_needed, inside the caller's transaction."""
    rules.check_move(part.state, PartState.NOT_NEEDED)
    parts.change_part(unit, part, state=PartState.NOT_NEEDED, ended_at=ctx.clock())
    tell(ctx, unit, actor, "part_not_needed", part)

"""Parts that go back to their suppliers: the list by supplier, and that they went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.errors import Conflict, Invalid
from notify.core.parts import PartState, is_battery, is_never_posted
from notify.flows.another_came import is_asked
from notify.flows.context import Context
from notify.flows.part_lines import tell
from notify.store import parts, shops, tickets
from notify.store.database import Unit
from notify.store.parts import Part


@dataclass(frozen=True, slots=True)
class Return:
    """One part that goes back. `why` is dead, wrong or not_needed; `battery`: it is one, `never_posted`: a bad one.

    `asked`: the customer may still take it, so it stays for now.
    """

    part_id: str
    name: str
    label: str
    article: str
    order_ref: str
    slip: str
    cost: int | None
    why: str
    number: str
    since: datetime | None
    battery: bool
    never_posted: bool
    asked: bool


@dataclass(frozen=True, slots=True)
class ToSupplier:
    """What goes back to one supplier; an empty name for parts of which none is known."""

    supplier_id: str
    supplier: str
    parts: tuple[Return, ...]


def view(ctx: Context, actor: Actor) -> tuple[ToSupplier, ...]:
    """Everything that goes back, by supplier in the order of their names."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return gather(unit)


def gather(unit: Unit) -> tuple[ToSupplier, ...]:
    """Like view, inside the caller's transaction."""
    names = {row.id: str(row.name) for row in shops.list_suppliers(unit)}
    groups: dict[str, list[Return]] = {}
    found = parts.to_send_back(unit)
    about = tickets.tickets_by_id(unit, {one.ticket_id for one in found})
    for one in found:
        groups.setdefault(one.supplier_id or "", []).append(_line(unit, one, about[one.ticket_id]))
    whole = [ToSupplier(one, names.get(one, ""), tuple(lines)) for one, lines in groups.items()]
    return tuple(sorted(whole, key=lambda one: (one.supplier == "", one.supplier)))


def _line(unit: Unit, part: Part, ticket: tickets.Ticket) -> Return:
    return Return(
        part_id=part.id, name=part.name, label=part.label, article=part.article, order_ref=part.order_ref,
        slip=part.slip, cost=part.cost, why=part.state, number=show_number(ticket.number), since=part.ended_at,
        battery=is_battery(part.name), never_posted=is_never_posted(part.name, part.state, ticket.safety),
        asked=part.state == PartState.WRONG and is_asked(unit, part),
    )  # fmt: skip


def send_back(ctx: Context, actor: Actor, part_ids: Sequence[str]) -> int:
    """Notes that these parts went back, all of them or with an error none; how many.

    Raises Conflict for one that the customer may still take, NotAllowed for one that does not go back.
    """
    actor.need("receive_part")
    if not part_ids:
        raise Invalid("No part is ticked", "Tick those that go back.", field="part")
    with ctx.db.write(actor.shop_id) as unit:
        for part_id in dict.fromkeys(part_ids):
            _send_back(ctx, unit, actor, parts.get_part(unit, part_id, lock=True))
    return len(dict.fromkeys(part_ids))


def _send_back(ctx: Context, unit: Unit, actor: Actor, part: Part) -> None:
    rules.check_move(part.state, PartState.SENT_BACK)
    if not rules.goes_back(part.state, part.arrived_at):
        raise Invalid("A part that never came does not go back", "Only what lies here does.", field="part")
    if part.state == PartState.WRONG and is_asked(unit, part):
        raise Conflict("The customer may still take this part", "Wait for the answer, or withdraw the question.")
    parts.change_part(unit, part, state=PartState.SENT_BACK, ended_at=ctx.clock())
    tell(ctx, unit, actor, "part_sent_back", part)

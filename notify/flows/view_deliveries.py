"""What a deliveries list shows: boxes on their way by supplier and day, parts nobody ordered, parts unpacked today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.parts import is_late
from notify.core.shop import Shop
from notify.core.tickets import OPEN_PHASES, WaitsOn
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine, day_bounds
from notify.store import parts, shops
from notify.store.database import Unit
from notify.store.parts import Part


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part. `frees`: it is the last thing the ticket waits for (or waited for), so somebody can bench it.

    `missing` counts the parts its ticket still waits for. `late` is by the delivery time agreed.
    """

    part_id: str
    name: str
    label: str
    state: str
    ticket: TicketLine
    supplier: str
    due_at: datetime | None
    arrived_at: datetime | None
    late: bool
    frees: bool
    missing: int


@dataclass(frozen=True, slots=True)
class Box:
    """Parts of one supplier due on one day, late ones apart; `due_at` is the earliest of them."""

    supplier: str
    day: date | None
    due_at: datetime | None
    late: bool
    parts: tuple[PartLine, ...]

    def frees(self) -> tuple[TicketLine, ...]:
        """The tickets that wait for nothing but parts of this box."""
        here: dict[str, list[PartLine]] = {}
        for part in self.parts:
            here.setdefault(part.ticket.ticket_id, []).append(part)
        waiting = [group for group in here.values() if group[0].ticket.waits_on is WaitsOn.PART]
        return tuple(group[0].ticket for group in waiting if len(group) == group[0].missing)


@dataclass(frozen=True, slots=True)
class Deliveries:
    """The whole list, late boxes first; `today` is the shop's own date."""

    today: date
    boxes: tuple[Box, ...]
    unordered: tuple[PartLine, ...]
    arrived: tuple[PartLine, ...]

    def to_order(self) -> tuple[PartLine, ...]:
        """Parts that somebody can order now: not while the customer is asked, nor once the repair is over."""
        return tuple(part for part in self.unordered if part.ticket.waits_on is WaitsOn.PART)

    def due(self) -> tuple[Box, ...]:
        """Boxes that should be here by the end of today."""
        return tuple(box for box in self.boxes if box.late or (box.day is not None and box.day <= self.today))


def view(ctx: Context, actor: Actor) -> Deliveries:
    """Every part that is missing, and what came in today."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return gather(ctx, unit, Lines(unit))


def gather(ctx: Context, unit: Unit, lines: Lines) -> Deliveries:
    """Like view, inside the caller's transaction."""
    shop = ctx.shop(unit)
    today = ctx.today(shop)
    missing = part_lines(ctx, unit, lines, parts.parts_in(unit, ("needed", "ordered")))
    since, _ = day_bounds(shop, today)
    arrived = [part for part in parts.arrived_since(unit, since) if part.state == "arrived"]
    return Deliveries(
        today=today,
        boxes=_boxes(shop, [line for line in missing if line.state == "ordered"]),
        unordered=tuple(line for line in missing if line.state == "needed" and line.ticket.phase in OPEN_PHASES),
        arrived=part_lines(ctx, unit, lines, arrived),
    )


def part_lines(ctx: Context, unit: Unit, lines: Lines, found: list[Part] | tuple[Part, ...]) -> tuple[PartLine, ...]:
    """A line for each part, in the order given."""
    suppliers = {row.id: str(row.name) for row in shops.list_suppliers(unit)}
    about = lines.by_id({part.ticket_id for part in found})
    now = ctx.clock()
    return tuple(
        PartLine(
            part_id=part.id, name=part.name, label=part.label, state=part.state, ticket=about[part.ticket_id],
            supplier=suppliers.get(part.supplier_id or "", ""), due_at=part.due_at, arrived_at=part.arrived_at,
            late=is_late(part.state, part.due_at, now=now), frees=_frees(lines, part, about[part.ticket_id]),
            missing=lines.missing(part.ticket_id),
        )
        for part in found
    )  # fmt: skip


def _frees(lines: Lines, part: Part, ticket: TicketLine) -> bool:
    if part.state == "arrived":
        return ticket.waits_on is WaitsOn.BENCH
    return ticket.waits_on is WaitsOn.PART and lines.missing(ticket.ticket_id) == 1


def _boxes(shop: Shop, ordered: list[PartLine]) -> tuple[Box, ...]:
    grouped: dict[tuple[str, date | None, bool], list[PartLine]] = {}
    for line in ordered:
        day = line.due_at.astimezone(ZoneInfo(shop.zone)).date() if line.due_at else None
        grouped.setdefault((line.supplier, day, line.late), []).append(line)
    boxes = [
        Box(supplier, day, min((p.due_at for p in group if p.due_at), default=None), late, tuple(group))
        for (supplier, day, late), group in grouped.items()
    ]
    return tuple(sorted(boxes, key=lambda box: (not box.late, box.day or date.max, box.supplier)))

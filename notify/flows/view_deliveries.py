"""What a deliveries list shows: boxes on their way by supplier and day, parts nobody ordered, parts unpacked today."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.bench_order import IN_WORK
from notify.core.parts import UNDO_ARRIVAL, is_late, same_code
from notify.core.shop import Shop
from notify.core.tickets import OPEN_PHASES, WaitsOn
from notify.flows.context import Context
from notify.flows.part_match import fitting
from notify.flows.view_lines import Lines, TicketLine, day_bounds
from notify.store import parts, shops
from notify.store.database import Unit
from notify.store.parts import OrderLine, Part


@dataclass(frozen=True, slots=True)
class Other:
    """A part of another ticket that the same article would fit."""

    part_id: str
    number: str
    promise_at: datetime | None


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part. `frees`: it is the last thing the ticket waits for (or waited for), so somebody can bench it.

    `missing` counts the parts its ticket still waits for. `late` is by the delivery time agreed. `changes` counts every
    change of it. `short_since`: others of its parcel came then, and it did not. Of one that is here: until when its
    arrival can be taken back, and who else could use it.
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
    changes: int = 0
    article: str = ""
    order_ref: str = ""
    slip: str = ""
    cost: int | None = None
    short_since: datetime | None = None
    undo_until: datetime | None = None
    others: tuple[Other, ...] = ()


@dataclass(frozen=True, slots=True)
class Usual:
    """How a supplier usually delivers: by what time, and how often on its day, 1, 2, 3 or more working days later."""

    delivers_at: time | None
    days: int
    delays: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Box:
    """Parts of one supplier due on one day, late ones apart; `due_at` is the earliest of them.

    `usual` tells how this supplier usually delivers.
    """

    supplier: str
    day: date | None
    due_at: datetime | None
    late: bool
    parts: tuple[PartLine, ...]
    usual: Usual | None = None

    def promised(self) -> tuple[TicketLine, ...]:
        """The tickets whose promise hangs on this box, the earliest first."""
        waiting = {p.ticket.ticket_id: p.ticket for p in self.parts if p.ticket.waits_on is WaitsOn.PART}
        found = [(one.promise_at, one.number, one) for one in waiting.values() if one.promise_at is not None]
        return tuple(one for _, _, one in sorted(found, key=lambda each: each[:2]))

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
    suppliers: tuple[str, ...] = ()

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
        boxes=_boxes(shop, [line for line in missing if line.state == "ordered"], _usual(unit)),
        unordered=tuple(line for line in missing if line.state == "needed" and line.ticket.phase in OPEN_PHASES),
        arrived=part_lines(ctx, unit, lines, arrived),
        suppliers=tuple(str(row.name) for row in shops.list_suppliers(unit)),
    )


def part_lines(ctx: Context, unit: Unit, lines: Lines, found: list[Part] | tuple[Part, ...]) -> tuple[PartLine, ...]:
    """A line for each part, in the order given."""
    suppliers = {row.id: str(row.name) for row in shops.list_suppliers(unit)}
    shared = [part for part in found if part.state == "arrived" and part.article]
    waiting = parts.waiting_lines(unit) if shared else ()
    fits = {part.id: fitting(waiting, part) for part in shared}
    others = {one.ticket_id for lines_of in fits.values() for one in lines_of}
    about = lines.by_id({*(part.ticket_id for part in found), *others})
    short = parts.came_with(unit, [part for part in found if part.state == "ordered"])
    now = ctx.clock()
    return tuple(
        PartLine(
            part_id=part.id, name=part.name, label=part.label, state=part.state, ticket=about[part.ticket_id],
            supplier=suppliers.get(part.supplier_id or "", ""), due_at=part.due_at, arrived_at=part.arrived_at,
            late=is_late(part.state, part.due_at, now=now), frees=_frees(lines, part, about[part.ticket_id]),
            missing=lines.missing(part.ticket_id), changes=part.changes, article=part.article,
            order_ref=part.order_ref, slip=part.slip, cost=part.cost, short_since=short.get(part.id),
            undo_until=_undo_until(part, now=now), others=_others(fits.get(part.id, ()), about),
        )
        for part in found
    )  # fmt: skip


def _undo_until(part: Part, *, now: datetime) -> datetime | None:
    """Until when the arrival of a part can be taken back; None once it cannot."""
    if part.state != "arrived" or part.arrived_at is None or now - part.arrived_at > UNDO_ARRIVAL:
        return None
    return part.arrived_at + UNDO_ARRIVAL


def _others(fits: Iterable[OrderLine], about: Mapping[str, TicketLine]) -> tuple[Other, ...]:
    lines = [(one.id, about[one.ticket_id]) for one in fits]
    return tuple(Other(part_id, line.number, line.promise_at) for part_id, line in lines if line.phase in IN_WORK)


def _usual(unit: Unit) -> dict[str, Usual]:
    """The name of each supplier with its habits."""
    return {str(row.name): Usual(row.delivers_at, row.days, tuple(row.delays)) for row in shops.list_suppliers(unit)}


def _frees(lines: Lines, part: Part, ticket: TicketLine) -> bool:
    if part.state == "arrived":
        return ticket.waits_on is WaitsOn.BENCH
    return ticket.waits_on is WaitsOn.PART and lines.missing(ticket.ticket_id) == 1


def _boxes(shop: Shop, ordered: list[PartLine], usual: Mapping[str, Usual]) -> tuple[Box, ...]:
    grouped: dict[tuple[str, date | None, bool], list[PartLine]] = {}
    for line in ordered:
        day = line.due_at.astimezone(ZoneInfo(shop.zone)).date() if line.due_at else None
        grouped.setdefault((line.supplier, day, line.late), []).append(line)
    boxes = [
        Box(
            supplier,
            day,
            min((p.due_at for p in group if p.due_at), default=None),
            late,
            tuple(group),
            usual.get(supplier),
        )
        for (supplier, day, late), group in grouped.items()
    ]
    return tuple(sorted(boxes, key=lambda box: (not box.late, box.day or date.max, box.supplier)))


def named(ctx: Context, actor: Actor, texts: Sequence[str]) -> tuple[Box, ...]:
    """The boxes on their way whose packing slip, order number or article one of these texts is; whole boxes where it
    is a slip or an order, else the parts of that article alone, whichever ticket needs it first on top.
    """
    actor.need("look")
    wanted = {same_code(one) for one in texts} - {""}
    with ctx.db.read(actor.shop_id) as unit:
        lines = parts.waiting_lines(unit)
        found = [one for one in lines if wanted & {same_code(c) for c in (one.slip, one.order_ref, one.article)}]
        opened = parts.parts_by_id(unit, [one.id for one in found if one.state == "ordered"])
        shown = part_lines(ctx, unit, Lines(unit), sorted(opened.values(), key=lambda one: (one.due_at, one.needed_at)))
        return _by_slip(shown, _usual(unit))


def _by_slip(shown: Iterable[PartLine], usual: Mapping[str, Usual]) -> tuple[Box, ...]:
    """One box for each packing slip of a supplier; without one, for each order of a day."""
    grouped: dict[tuple[str, str, datetime | None], list[PartLine]] = {}
    for line in shown:
        grouped.setdefault((line.supplier, line.slip, None if line.slip else line.due_at), []).append(line)
    return tuple(
        Box(supplier, None, min((p.due_at for p in group if p.due_at), default=None), any(p.late for p in group),
            tuple(group), usual.get(supplier))
        for (supplier, *_), group in grouped.items()
    )  # fmt: skip

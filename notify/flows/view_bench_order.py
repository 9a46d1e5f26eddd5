"""What staff see of the bench order: a suggestion that is still true, the order that stands, the whole line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.bench_order import IN_WORK, USUAL
from notify.flows.bench_order import Looked, look
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine
from notify.forecast.order import MOST
from notify.store import bench_orders, tickets
from notify.store.bench_orders import Order
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Better:
    """A suggestion: `moved` is the ticket to name, `why` a code (forecast/order_search.WHYS).

    `ahead_of` is what comes after it, `is_first` when it would be the next of all in line. `others` is how many more
    change place. `gain` is how many promises more are kept on average. `only_first` is how many were looked at, 0 when
    that was the whole line.
    """

    order_id: str
    moved: TicketLine
    ahead_of: TicketLine | None
    is_first: bool
    why: str
    gain: float
    kept_before: float
    kept_after: float
    others: int
    only_first: int


@dataclass(frozen=True, slots=True)
class Stands:
    """The order that staff took: since when, by whom ("" for a command of the owner's), how many were put by hand."""

    since: datetime
    by: str
    by_hand: int


@dataclass(frozen=True, slots=True)
class BenchOrder:
    """Either of both may be missing; without `stands` the usual order counts."""

    better: Better | None
    stands: Stands | None


@dataclass(frozen=True, slots=True)
class Line:
    """The whole bench in its order, tickets that wait for something included, with what is said about it."""

    tickets: tuple[TicketLine, ...]
    about: BenchOrder


def view(ctx: Context, actor: Actor) -> Line:
    """The bench for the command."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        lines, looked = Lines(unit), look(ctx, unit)
        about = {line.ticket_id: line for line in lines.of(tickets.tickets_in(unit, IN_WORK))}
        whole = tuple(about[one] for one in looked.order if one in about)
        return Line(whole, bench_order(unit, looked, lines, about))


def bench_order(unit: Unit, looked: Looked, lines: Lines, about: Mapping[str, TicketLine]) -> BenchOrder:
    """What is said about the order, of the tickets in `about`; a suggestion of yesterday's facts is not shown."""
    found, standing = bench_orders.suggestion(unit), bench_orders.standing_order(unit)
    fresh = found is not None and found.about.inputs == looked.facts
    stands = standing if standing and standing.order != USUAL else None
    return BenchOrder(
        _better(found, looked, about) if found and fresh else None,
        Stands(stands.settled_at or stands.made_at, lines.staff_name(stands.staff_id), len(stands.order.by_hand))
        if stands
        else None,
    )


def _better(found: Order, looked: Looked, about: Mapping[str, TicketLine]) -> Better | None:
    moved = found.about.moved_id
    if moved not in about or moved not in found.order.tickets:
        return None
    new = found.order.tickets
    at, now = new.index(moved), [one for one in looked.order if one in new]
    after = new[at + 1] if at + 1 < len(new) else ""
    return Better(
        order_id=found.id, moved=about[moved], ahead_of=about.get(after), is_first=at == 0, why=found.about.why,
        gain=found.about.gain, kept_before=found.about.kept_before, kept_after=found.about.kept_after,
        others=_others(now, new, moved), only_first=MOST if len(new) > MOST else 0,
    )  # fmt: skip


def _others(now: list[str], new: tuple[str, ...], moved: str) -> int:
    """How many change place besides the one that is named."""
    before, after = ([one for one in order if one != moved] for order in (now, new))
    return sum(1 for old, later in zip(before, after, strict=True) if old != later)

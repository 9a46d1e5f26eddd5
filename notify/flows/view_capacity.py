"""How many pickups a slot may hold: the shop's own figures, the waits they lead to, and what one could play with."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.hours import Counter, open_spans, rows_on
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.forecast.counter import Handover, Load, largest_load, table, waits_of
from notify.forecast.walk_in import most_walk_ins
from notify.store import counter_figures, shops
from notify.store.counter_figures import Ended, HandoverDone

LIMIT, TARGET = 5.0, 0.10  # minutes; the share of people who may wait longer: our choice
ENOUGH = 20  # observations from which the shop's own figure counts: our choice
LOOK_BACK = timedelta(days=90)
ASSUMED_MINUTES, ASSUMED_CV, ASSUMED_SPREAD = 6.5, 0.4, 5.0  # assumptions, no source
COUNTED_APART = timedelta(minutes=60)  # whoever came further from their time came at another one
MOST_SLOTS = 40
# What may be typed to play with: lowest and highest of each.
BOUNDS = {"people": (1, 8), "minutes": (0.5, 60), "spread": (0, 60), "no_show": (0, 0.9), "walk_ins": (0, 10)}
_NAMES = {
    "people": "People at the counter", "minutes": "Minutes for one handover", "spread": "Minutes early or late",
    "no_show": "The share that does not come", "walk_ins": "People without a time",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with the number of observations it rests on. `basis` is own, assumed, set (by the shop) or tried."""

    value: float
    of: int
    basis: str


@dataclass(frozen=True, slots=True)
class Row:
    """So many customers in each slot: the share of them that waits over the limit, and their mean wait in minutes."""

    per_slot: int
    over: float
    mean: float


@dataclass(frozen=True, slots=True)
class Capacity:
    """Minutes and shares throughout; `walk_ins` and `without_times` are people a slot.

    `best` is the most customers a slot may hold, 0 when even one is too many. `split` is the same when every second
    one is asked for the middle of the slot. `now` is what the hours allow today at most, None when nothing is open.
    """

    people: Figure
    minutes: Figure
    spread: Figure
    no_show: Figure
    walk_ins: Figure
    slot_minutes: int
    limit: float
    target: float
    rows: tuple[Row, ...]
    best: int
    split: int
    split_over: float
    without_times: float
    now: int | None


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Figures to play with instead of the shop's own; None leaves that one."""

    people: float | None = None
    minutes: float | None = None
    spread: float | None = None
    no_show: float | None = None
    walk_ins: float | None = None


def check(what_if: WhatIf) -> None:
    """Raises Invalid with every figure out of its bounds."""
    wrong = [
        Invalid(f"{_NAMES[name]} must be from {_plain(low, name)} to {_plain(high, name)}", field=name)
        for name, (low, high) in BOUNDS.items()
        if (value := getattr(what_if, name)) is not None and not low <= value <= high
    ]
    if what_if.people is not None and what_if.people != int(what_if.people):
        wrong.append(Invalid("People at the counter are counted in whole numbers", field="people"))
    if wrong:
        raise Invalid.many(wrong)


def _plain(bound: float, name: str) -> str:
    return f"{bound:.0%}" if name == "no_show" else f"{bound:g}"


def view(ctx: Context, actor: Actor, what_if: WhatIf = WhatIf()) -> Capacity:
    """The figures, the table and the recommendation. Nothing is stored or changed. Raises Invalid."""
    actor.need("look")
    check(what_if)
    now = ctx.clock()
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        counter, today = shops.get_counter(unit, shop), ctx.today(shop)
        done = counter_figures.handovers(unit, now - LOOK_BACK, now)
        ended = counter_figures.ended(unit, now - LOOK_BACK, now)
    durations = [one.seconds / 60 for one in done if one.seconds]
    own = {
        "people": Figure(max(1, shop.counter_people), 0, "set"), "minutes": _minutes(durations),
        "spread": _spread(ended, done), "no_show": _no_show(ended),
        "walk_ins": _walk_ins(counter, done, ended, ZoneInfo(shop.zone), now),
    }  # fmt: skip
    figures = {name: _tried(figure, getattr(what_if, name)) for name, figure in own.items()}
    seen = tuple(round(one, 3) for one in sorted(durations)) if figures["minutes"].basis == "own" else ()
    load = _load(figures, _handover(figures["minutes"], seen, durations), shop, _slots(counter, today))
    return _answer(figures, load, shop, _now(counter, today))


def _answer(figures: dict[str, Figure], load: Load, shop: Shop, now: int | None) -> Capacity:
    best = largest_load(load, target=TARGET)
    apart = replace(load, starts=2)
    split = largest_load(apart, target=TARGET, near=best)
    without = most_walk_ins(figures["minutes"].value, load.people, limit=LIMIT, target=TARGET)
    return Capacity(
        **figures, slot_minutes=shop.slot_minutes, limit=LIMIT, target=TARGET,
        rows=tuple(Row(number, waits.over, waits.mean) for number, waits in table(load)), best=best,
        split=split, split_over=waits_of(replace(apart, per_slot=best + 1)).over,
        without_times=without * shop.slot_minutes, now=now,
    )  # fmt: skip


def _load(figures: dict[str, Figure], handover: Handover, shop: Shop, slots: int) -> Load:
    return Load(
        people=int(figures["people"].value), per_slot=0, handover=handover, slot_minutes=shop.slot_minutes, slots=slots,
        spread=figures["spread"].value, no_show=figures["no_show"].value, walk_ins=figures["walk_ins"].value,
        limit=LIMIT,
    )  # fmt: skip


def _tried(own: Figure, value: float | None) -> Figure:
    return own if value is None else Figure(value, 0, "tried")


def _handover(minutes: Figure, seen: tuple[float, ...], durations: Sequence[float]) -> Handover:
    """The shop's own durations as they were; a typed mean keeps how much they differ, where that is known."""
    if seen:
        return Handover(minutes.value, seen=seen)
    known = len(durations) >= ENOUGH
    return Handover(minutes.value, statistics.stdev(durations) / statistics.fmean(durations) if known else ASSUMED_CV)


def _minutes(durations: Sequence[float]) -> Figure:
    if len(durations) < ENOUGH:
        return Figure(ASSUMED_MINUTES, len(durations), "assumed")
    return Figure(round(statistics.fmean(durations), 1), len(durations), "own")


def _spread(ended: Iterable[Ended], done: Iterable[HandoverDone]) -> Figure:
    """How far from their time people are served (standard deviation), without whoever came at quite another one."""
    at: dict[str, list[HandoverDone]] = {}
    for one in done:
        at.setdefault(one.visit_id, []).append(one)
    apart = [
        (found.at - timedelta(seconds=found.seconds or 0) - one.start_at).total_seconds() / 60
        for one in ended
        if one.state == "kept"
        for found in [min(at.get(one.visit_id, ()), key=lambda h, end=one.ended_at: abs(h.at - end), default=None)]
        if found and abs(found.at - one.start_at) <= COUNTED_APART
    ]
    if len(apart) < ENOUGH:
        return Figure(ASSUMED_SPREAD, len(apart), "assumed")
    return Figure(round(statistics.stdev(apart), 1), len(apart), "own")


def _no_show(ended: Sequence[Ended]) -> Figure:
    """The share that did not come, drawn towards none by as many who did: few observations must not promise room."""
    missed = sum(1 for one in ended if one.state == "missed")
    return Figure(round(missed / (len(ended) + ENOUGH), 3), len(ended), "own" if ended else "assumed")


def _walk_ins(
    counter: Counter, done: Sequence[HandoverDone], ended: Iterable[Ended], tz: ZoneInfo, now: datetime
) -> Figure:
    """Handovers without a time that day, for each slot in which the counter was open since the first handover."""
    if len(done) < ENOUGH:
        return Figure(0, 0, "assumed")
    booked = {(one.visit_id, one.start_at.astimezone(tz).date()) for one in ended if one.state == "kept"}
    first = done[-1].at.astimezone(tz).date()
    spans = open_spans(counter, first, now.astimezone(tz).date())
    free = [
        one for one in done
        if (one.visit_id, one.at.astimezone(tz).date()) not in booked
        and any(span.start_utc <= one.at < span.end_utc for span in spans)
    ]  # fmt: skip
    minutes = sum((min(span.end_utc, now) - span.start_utc).total_seconds() / 60 for span in spans
                  if span.start_utc < now)  # fmt: skip
    slots = minutes / counter.slot_minutes
    return Figure(round(len(free) / slots, 2) if slots else 0, len(free), "own")


def _slots(counter: Counter, today: date) -> int:
    """The slots of the longest opening of the coming week, on which waits add up."""
    spans = open_spans(counter, today, today + timedelta(days=6))
    longest = max((span.end_utc - span.start_utc for span in spans), default=timedelta(hours=4))
    return max(1, min(MOST_SLOTS, int(longest / timedelta(minutes=counter.slot_minutes))))


def _now(counter: Counter, today: date) -> int | None:
    """What the hours of the coming week allow at most."""
    return max(
        (row.capacity for ahead in range(7) for row in rows_on(counter, today + timedelta(days=ahead))), default=None
    )

"""How promises were kept: what became of every scored one whose time has passed, and how good the forecasts were."""

from __future__ import annotations

from collections import Counter as Counts
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain
from statistics import fmean

from notify.core.actors import Actor
from notify.core.hours import Counter
from notify.core.open_time import open_times
from notify.flows.context import Context
from notify.flows.score_promises import level_for, pits_of
from notify.forecast import calibration, scores
from notify.store import promises, repair_kinds, shops
from notify.store.database import Unit
from notify.store.promises import Past

LOOK_BACK, MOST = timedelta(days=365), 2000  # a year at most, and of that the newest


@dataclass(frozen=True, slots=True)
class Line:
    """One scored promise whose time has passed; `ready_at` is None while the device is not ready."""

    ticket_id: str
    made_at: datetime
    promise_at: datetime
    ready_at: datetime | None
    kept: bool


@dataclass(frozen=True, slots=True)
class OfKind:
    """The promises of one kind of repair; `name` is empty for devices without one."""

    name: str
    due: int
    kept: int


@dataclass(frozen=True, slots=True)
class Losses:
    """Scores of the promises that had a forecast behind them (`of`), times in open minutes of the shop.

    `quantile_kept`: how many were ready by the time that was asked of the forecast, before rounding. `pinball` is the
    loss of that time, `crps` that of the whole forecast, `brier` that of the chances said. `pits` counts in ten equal
    bins where the ready times fell; one that is not ready yet is in the last, and its time counts as now.
    """

    of: int
    quantile_kept: int
    pinball: float
    crps: float
    brier: float
    pits: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Drift:
    """The moving share of kept promises after each one (`values`), where it began, and within what it should stay."""

    values: tuple[float, ...]
    start: float
    low: float
    high: float

    @property
    def is_out(self) -> bool:
        """Whether the newest value is outside."""
        return bool(self.values) and not self.low <= self.values[-1] <= self.high


@dataclass(frozen=True, slots=True)
class Report:
    """Scored promises whose time fell into [first, now], `left_out` ones (reason -> how many) not among them.

    `wanted` is the share that should be kept; `low` to `high` is where the true share may be (Wilson, 95 %). `level` is
    what forecasts are asked for now, from `learned` outcomes; `adaptive` what another rule would ask. `changed` counts,
    of the broken ones, why another time was told (code, how many; "" where none was).
    """

    first: datetime
    now: datetime
    wanted: float
    due: int
    kept: int
    unfinished: int
    low: float
    high: float
    level: float
    learned: int
    adaptive: float
    left_out: Mapping[str, int]
    changed: tuple[tuple[str, int], ...]
    kinds: tuple[OfKind, ...]
    losses: Losses | None
    drift: Drift
    lines: tuple[Line, ...]

    @property
    def broken(self) -> int:
        """Those not kept, the unfinished among them."""
        return self.due - self.kept


def view(ctx: Context, actor: Actor) -> Report:
    """The report of the last year. Nothing is stored or changed."""
    actor.need("report")
    now = ctx.clock()
    with ctx.db.read(actor.shop_id) as unit:
        shop, first = ctx.shop(unit), now - LOOK_BACK
        whole = promises.past(unit, first, now, limit=MOST)
        undone = promises.count_undone(unit, first, now)
        names = {kind.id: kind.name for kind in repair_kinds.list_kinds(unit)}
        level, pits = level_for(unit, shop, now=now), pits_of(unit, now)
        losses = _losses(unit, ctx, [one for one in whole if not one.promise.left_out], now)
    past = [one for one in whole if not one.promise.left_out]
    lines = tuple(_line(one) for one in past)
    wanted, found = shop.promise_level / 100, scores.tally(map(_instants, lines), now.timestamp())
    low, high = scores.wilson(found.kept, found.due)
    left_out = Counts(str(one.promise.left_out) for one in whole if one.promise.left_out)
    return Report(
        first=first, now=now, wanted=wanted, due=found.due, kept=found.kept, low=low, high=high,
        unfinished=sum(line.ready_at is None for line in lines), level=level, learned=len(pits),
        adaptive=calibration.adaptive_level(pits[::-1], wanted),
        left_out=dict(left_out + Counts({"undone": undone})), changed=_changed(past), kinds=_kinds(past, names),
        losses=losses, drift=_drift(lines, wanted), lines=lines,
    )  # fmt: skip


def _line(one: Past) -> Line:
    found = one.promise
    return Line(found.ticket_id, found.made_at, found.promise_at, found.ready_at, _is_kept(one))


def _instants(line: Line) -> tuple[float, float | None]:
    return line.promise_at.timestamp(), line.ready_at.timestamp() if line.ready_at else None


def _is_kept(one: Past) -> bool:
    return one.promise.ready_at is not None and one.promise.ready_at <= one.promise.promise_at


def _changed(past: Sequence[Past]) -> tuple[tuple[str, int], ...]:
    return tuple(Counts(one.changed_why for one in past if not _is_kept(one)).most_common())


def _kinds(past: Sequence[Past], names: Mapping[str, str]) -> tuple[OfKind, ...]:
    due, kept = Counts(names.get(one.kind_id or "", "") for one in past), Counts[str]()
    kept.update(names.get(one.kind_id or "", "") for one in past if _is_kept(one))
    return tuple(OfKind(name, number, kept[name]) for name, number in due.most_common())


def _drift(lines: Sequence[Line], wanted: float) -> Drift:
    low, high = scores.ewma_limits(wanted, (wanted * (1 - wanted)) ** 0.5)
    values = scores.ewma((float(line.kept) for line in lines), start=wanted)
    return Drift(tuple(values), wanted, max(0.0, low), min(1.0, high))


def _losses(unit: Unit, ctx: Context, past: Sequence[Past], now: datetime) -> Losses | None:
    """Only where a forecast stands behind the promise, and its asked time has passed as well."""
    known = [
        one for one in past if one.promise.grid and one.promise.quantile_at and one.promise.quantile_at <= now
    ]  # fmt: skip
    if not known:
        return None
    return _scored(known, shops.get_counter(unit, ctx.shop(unit)), now)


def _scored(known: Sequence[Past], counter: Counter, now: datetime) -> Losses:
    made = [one.promise for one in known]
    ended = [one.ready_at or now for one in made]
    asked = [one.quantile_at or one.promise_at for one in made]
    at = open_times(chain(ended, asked, *(one.grid for one in made)), counter)
    in_time = sum(
        one.ready_at is not None and one.ready_at <= quantile for one, quantile in zip(made, asked, strict=True)
    )
    return Losses(
        of=len(made), quantile_kept=in_time,
        pinball=fmean(
            scores.pinball(at[quantile], at[end], one.level or 0.0) / 60
            for one, end, quantile in zip(made, ended, asked, strict=True)
        ),
        crps=fmean(
            scores.crps([at[moment] for moment in one.grid], at[end]) / 60
            for one, end in zip(made, ended, strict=True)
        ),
        brier=scores.brier([(one.promise.chance or 0.0, _is_kept(one)) for one in known]),
        pits=scores.histogram(1.0 if one.pit is None else one.pit for one in made),
    )  # fmt: skip

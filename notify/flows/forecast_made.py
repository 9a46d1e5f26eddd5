"""The shop's facts played through the bench: a forecast for every ticket in work, and when time alone changes them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import NormalDist
from typing import TypeVar

from notify.core.ready import LEVELS, Decides, Forecast
from notify.core.threats import ORDER_WITHIN
from notify.core.tickets import Phase
from notify.core.working_days import arrival
from notify.flows.context import Context
from notify.flows.forecast_inputs import Inputs, kind_key, prepare, waits_for
from notify.flows.shop_facts import Facts, gather
from notify.forecast import lead_times, promise, ready
from notify.store import forecasts, shops, suppliers
from notify.store.database import Unit
from notify.store.tickets import Job

T = TypeVar("T")
TICK = 600.0  # seconds: the slow tick, while the shop is open (common practice, no source)
OVERRUN = 0.8  # a running job past this share of its kind's durations counts as one that takes longer
# Paths where somebody waits for the page: their 90 % point is within a twentieth of a spread. With more jobs fewer
# paths, so that they are reckoned in about the same time; never less than LEAST.
QUICK, AT_ONCE, LEAST = 1000, 200_000, 200
_KEPT_FOR = 300  # seconds in which such an answer is given again while no fact changes
NEW = "new"  # of a device that nobody has taken in yet


@dataclass(frozen=True, slots=True)
class Made:
    """Every forecast of the shop, from which facts, and the instant at which time alone changes them."""

    facts: Facts
    forecasts: tuple[Forecast, ...]
    next_at: datetime | None
    overrun: bool


def make(facts: Facts, *, quickly: bool = False) -> Made:
    """Plays the facts. Touches no database; the same facts at the same instant give the same forecasts."""
    inputs = prepare(facts)
    played = play(inputs, quickly=quickly)
    found = _said(facts, inputs, played) if played else ()
    rest = [Forecast(ticket_id=one, made_at=facts.now, without=why, seed=inputs.seed, inputs=inputs.digest)
            for one, why in inputs.without.items()]  # fmt: skip
    proved = [_proved(facts, inputs, one, at) for one, at in inputs.proved.items()]
    points = _eighty(played) if played else ()
    return Made(facts, (*found, *proved, *rest), _next_at(facts, inputs, points), _overrun(facts, inputs))


def _said(facts: Facts, inputs: Inputs, played: ready.Played) -> tuple[Forecast, ...]:
    promised = {one: job.promise_at for one, job in facts.jobs.items() if job.promise_at is not None}
    return ready.forecasts(
        played, made_at=facts.now, counter=facts.counter, level=facts.level, minutes=facts.shop.promise_tick,
        promises=promised, seed=inputs.seed, inputs=inputs.digest, wanted=facts.shop.promise_level / 100,
    )  # fmt: skip


def play(inputs: Inputs, *, quickly: bool = False) -> ready.Played | None:
    """The bench played on as many paths as so many jobs get, or `quickly`; None when there is nothing to play."""
    if not inputs.jobs:
        return None
    number = ready.paths_for(len(inputs.jobs))
    if quickly:
        number = min(QUICK, max(LEAST, AT_ONCE // len(inputs.jobs)))
    return ready.play(
        inputs.bench, inputs.jobs, inputs.parcels, inputs.kinds(number), paths=number, seed=inputs.seed
    )  # fmt: skip


def _proved(facts: Facts, inputs: Inputs, ticket_id: str, at: datetime) -> Forecast:
    """Of a device that is watched: when that is over, and then the next tick."""
    promised = facts.jobs[ticket_id].promise_at
    return Forecast(
        ticket_id=ticket_id, made_at=facts.now, grid=(at,) * len(LEVELS), level=facts.level, quantile_at=at,
        promise_at=promise.tick(facts.counter, at, facts.shop.promise_tick), decides=Decides.HANDS, seed=inputs.seed,
        chance=None if promised is None else float(at <= promised), inputs=inputs.digest,
    )  # fmt: skip


def _eighty(played: ready.Played) -> list[float]:
    """When each job in hand has most probably ended: its 80 % point (epoch seconds)."""
    import numpy as np

    running = [number for number, job in enumerate(played.jobs) if job.by is not None]
    return [promise.quantile(np.sort(played.ended[number]), OVERRUN) for number in running]


def _overrun(facts: Facts, inputs: Inputs) -> bool:
    """Whether somebody works on a device for longer than 80 of 100 of its kind take."""
    running = [job for job in inputs.jobs if job.by is not None]
    return any(job.spent / 60 > _usual_most(inputs, kind_key(facts, facts.jobs[job.id])) for job in running)


def _usual_most(inputs: Inputs, kind: str) -> float:
    """Minutes in which 80 of 100 repairs of a kind are done, near enough: the normal in place of Student's t."""
    known = inputs.beliefs[kind]
    return math.exp(known.mu + NormalDist().inv_cdf(OVERRUN) * known.scale)


def _next_at(facts: Facts, inputs: Inputs, points: Iterable[float]) -> datetime | None:
    """The first of: a delivery that is due, a running job's 80 % point, an opening or closing, and the slow tick."""
    if not facts.jobs:
        return None
    now = facts.now.timestamp()
    opens, closes = next((span for span in inputs.bench.counter.spans if span[1] > now), (math.inf, math.inf))
    found = [at for parcel in inputs.parcels.values() for at in parcel.arrivals if at is not None]
    found += [(part.needed_at + ORDER_WITHIN).timestamp() for parts in facts.missing.values() for part in parts]
    found += [*points, opens, closes, now + TICK if opens <= now else math.inf]
    first = min((at for at in found if at > now), default=math.inf)
    return datetime.fromtimestamp(first, UTC) if first < math.inf else None


def now_of(ctx: Context, unit: Unit) -> Mapping[str, Forecast]:
    """ticket -> its forecast: the stored one while nothing has changed since, else a fresh one, quickly made."""
    state = forecasts.state(unit)
    run, now = state.run, ctx.clock()
    if run is not None and not state.is_changed and run.ran_at <= now and (run.next_at is None or now < run.next_at):
        return forecasts.of_tickets(unit)
    return kept(ctx, unit, "forecast", lambda: _quickly(ctx, unit))


def _quickly(ctx: Context, unit: Unit) -> Mapping[str, Forecast]:
    return {one.ticket_id: one for one in make(gather(ctx, unit), quickly=True).forecasts}


def outlook_of_new(ctx: Context, unit: Unit, *, kind_id: str | None = None, supplier_id: str | None = None) -> Forecast:
    """What could be promised for a device that is taken in now, with a part ordered now from that supplier, or none.

    It comes into the line as any ticket without a promise does. Raises NotFound for a supplier that is not there.
    """
    return kept(ctx, unit, f"outlook {kind_id} {supplier_id}", lambda: _outlook(ctx, unit, kind_id, supplier_id))


def _outlook(ctx: Context, unit: Unit, kind_id: str | None, supplier_id: str | None) -> Forecast:
    facts, inputs = unit.once(("outlook", kind_id or ""), lambda: _with_new(ctx, unit, kind_id))
    box = None
    if supplier_id:
        row = shops.find_supplier(unit, supplier_id)
        habits = suppliers.habits_of(unit, row, zone=facts.shop.zone)
        due = arrival(habits, facts.now, facts.counter)
        box = lead_times.parcel(NEW, due, habits, tuple(row.delays), facts.now, facts.counter)
    return _said_of(facts, waits_for(inputs, NEW, box) if box else inputs, NEW)


def _with_new(ctx: Context, unit: Unit, kind_id: str | None) -> tuple[Facts, Inputs]:
    """The facts as if a device were taken in now."""
    job = Job(
        id=NEW, visit_id=NEW, person_id="", number="~", phase=Phase.TAKEN_IN, outcome="", reason="", device_class="",
        price_agreed=None, price_limit=None, deposit=None, paid=False, shelf="", safety=(), follows_id=None,
        technician_id=None, kind_id=kind_id or None, worked_seconds=0, promise_at=None, created_at=ctx.clock(),
        phase_since=ctx.clock(), version=1,
    )  # fmt: skip
    facts = gather(ctx, unit, also=job)
    return facts, prepare(facts)


def _said_of(facts: Facts, inputs: Inputs, ticket_id: str) -> Forecast:
    """The forecast of one ticket alone, quickly: the whole bench is played, but nothing said of the others."""
    if ticket_id in inputs.without:
        return Forecast(ticket_id=ticket_id, made_at=facts.now, without=inputs.without[ticket_id])
    played = play(inputs, quickly=True)
    assert played is not None
    (found,) = _said(facts, inputs, played.only(ticket_id))
    return found


def kept(ctx: Context, unit: Unit, name: str, load: Callable[[], T]) -> T:
    """What `load` gives, made anew only when a fact has changed or some minutes have gone by."""
    stamp = f"{forecasts.state(unit).stamp} {int(ctx.clock().timestamp()) // _KEPT_FOR}"
    at, found = unit.kept.get((unit.shop_id, name), ("", None))
    if at != stamp:
        at, found = unit.kept[unit.shop_id, name] = (stamp, load())
    return found  # type: ignore[no-any-return]  # what the last `load` of this name gave

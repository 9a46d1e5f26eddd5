"""How full the bench will be over the next days, from the facts as they are now. Nothing is stored or changed."""

from __future__ import annotations

from collections import Counter as Counts
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notify.core.actors import Actor
from notify.core.instants import first_instant, zone
from notify.core.ready import Without
from notify.flows.context import Context
from notify.flows.forecast_inputs import Inputs, prepare
from notify.flows.forecast_made import kept, play
from notify.flows.shop_facts import Facts, gather
from notify.forecast.load import Taken, load

AHEAD, SHOWN = 21, 7  # days that are looked at; of these, so many on which the shop is open are shown


@dataclass(frozen=True, slots=True)
class Day:
    """One day on which the shop is open; today counts from now on."""

    day: date
    taken: Taken

    @property
    def share(self) -> float:
        """Of the hours at the bench, how much is taken; 0 where nobody is there."""
        return self.taken.mean / self.taken.room if self.taken.room else 0.0


@dataclass(frozen=True, slots=True)
class BenchLoad:
    """The coming open days. `jobs` devices are reckoned with; of the others, by reason, nothing can be foreseen.

    `after` are the seconds of work that come after the days shown, as far as opening hours are looked at.
    """

    now: datetime
    today: date
    days: tuple[Day, ...]
    jobs: int
    without: Mapping[Without, int]
    people: int
    after: float


def view(ctx: Context, actor: Actor) -> BenchLoad:
    """The report; the same for some minutes while no fact changes."""
    actor.need("report")
    with ctx.db.read(actor.shop_id) as unit:
        return kept(ctx, unit, "bench load", lambda: load_of(gather(ctx, unit)))


def load_of(facts: Facts) -> BenchLoad:
    """The same from facts alone."""
    inputs = prepare(facts)
    days = [day for day in _coming(facts) if _is_open(facts, inputs, day)][:SHOWN]
    now = facts.now.timestamp()
    edges = sorted({now, *(max(now, edge) for day in days for edge in _edges(facts, day)), inputs.bench.counter.end})
    pieces = dict(zip(edges, load(inputs.bench, play(inputs, quickly=True), edges), strict=False)) if days else {}
    shown = tuple(Day(day, pieces[max(now, _edges(facts, day)[0])]) for day in days)
    after = sum(one.mean for one in pieces.values()) - sum(day.taken.mean for day in shown)
    return BenchLoad(
        facts.now,
        facts.today,
        shown,
        len(inputs.jobs),
        dict(Counts(inputs.without.values())),
        len(facts.technicians),
        max(0.0, after),
    )


def _coming(facts: Facts) -> list[date]:
    return [facts.today + timedelta(days=ahead) for ahead in range(AHEAD)]


def _edges(facts: Facts, day: date) -> tuple[float, float]:
    """The instants at which the day begins and ends on the shop's wall."""
    tz = zone(facts.shop.zone)
    return first_instant(day, tz).timestamp(), first_instant(day + timedelta(days=1), tz).timestamp()


def _is_open(facts: Facts, inputs: Inputs, day: date) -> bool:
    """Whether the counter is open then, from now on."""
    first, last = _edges(facts, day)
    worked = inputs.bench.counter.work
    return float(worked(last)) > float(worked(max(first, facts.now.timestamp())))

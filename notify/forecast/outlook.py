"""What the played paths say of each ticket: its quantiles, the time to promise, the chance of the promise that stands.

A ticket either has a time that can be promised at the level asked for, or the reason why not: never a far date.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from notify.core.hours import Counter
from notify.core.instants import need_aware
from notify.core.ready import LEVELS, Decides, Forecast, Without
from notify.forecast.promise import chance, instant_of, quantile, quantiles, tick
from notify.forecast.scene import Played

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class _Asked:
    made_at: datetime
    counter: Counter
    level: float
    wanted: float
    minutes: int
    seed: int
    inputs: str
    barren: list[datetime] = field(default_factory=list)  # from which on no tick was found

    def tick(self, at: datetime) -> datetime | None:
        """The first tick from then on. That hours have none is found out once, not for each device."""
        if self.barren and at >= min(self.barren):
            return None
        found = tick(self.counter, at, self.minutes)
        if found is None:
            self.barren.append(at)
        return found


def forecasts(
    played: Played,
    *,
    made_at: datetime,
    counter: Counter,
    level: float,
    minutes: int,
    promises: Mapping[str, datetime],
    seed: int,
    inputs: str = "",
    wanted: float | None = None,
) -> tuple[Forecast, ...]:
    """One forecast a job, in the order of the jobs; `minutes` between the counter's ticks, `promises` by job.

    `level` is the share asked for, 0 to 1, `wanted` what it was before the correction learned from outcomes; None when
    nothing was corrected. What was added is asked only where the parts come at all: else a correction to 99 of 100
    would leave no time for anything that waits for a part, since one in 100 may never come. Where a quantile of the
    grid lies beyond the hours looked at, their end stands for it.
    """
    import numpy as np

    if not played.jobs:
        return ()
    asked = _Asked(made_at, counter, level, wanted or level, minutes, seed, inputs)
    samples, decided = np.sort(played.ready, axis=1), deciding(played)
    return tuple(
        _forecast(played, number, samples[number], asked, promises.get(job.id), decided[number])
        for number, job in enumerate(played.jobs)
    )


def deciding(played: Played) -> tuple[Decides, ...]:
    """What each job's ready time hangs on most: the longest, by the median over the paths, in open time of the counter,
    of waiting for its release, waiting for a technician, and the work itself."""
    import numpy as np

    if not played.jobs:
        return ()
    counter = played.bench.counter
    now = counter.work(played.bench.now)
    workable, begun = counter.work(played.parts_in), counter.work(played.started)
    parts = np.median(workable, axis=1) - now
    line = np.median(begun - workable, axis=1)
    work = np.median(played.busy, axis=1)
    return tuple(_decides(job.by, *each) for job, *each in zip(played.jobs, parts, line, work, strict=True))


def _decides(by: int | None, parts: float, line: float, work: float) -> Decides:
    if by is not None:
        return Decides.HANDS
    longest = max(parts, line, work)
    return Decides.WORK if work == longest else Decides.PART if parts == longest else Decides.LINE


def _forecast(
    played: Played, number: int, sample: Array, asked: _Asked, promised: datetime | None, decides: Decides
) -> Forecast:
    level = _level(played, number, asked)
    at = quantile(sample, level)
    told = asked.tick(instant_of(at)) if math.isfinite(at) else None
    forecast = Forecast(
        ticket_id=played.jobs[number].id, made_at=asked.made_at, level=level, seed=asked.seed,
        chance=None if promised is None else chance(sample, need_aware(promised).timestamp()), inputs=asked.inputs,
    )  # fmt: skip
    if told is None:
        return replace(forecast, without=_without(played, number, level))
    end = played.bench.counter.end
    grid = tuple(instant_of(min(one, end)) for one in quantiles(sample, LEVELS))
    return replace(forecast, grid=grid, quantile_at=instant_of(at), promise_at=told, decides=decides)


def _level(played: Played, number: int, asked: _Asked) -> float:
    """The share asked for of one job: all of what was wanted, and what is more of those paths on which it can begin."""
    import numpy as np

    comes = float(np.mean(np.isfinite(played.parts_in[number])))
    return max(min(asked.wanted, asked.level), asked.level * comes)


def _without(played: Played, number: int, level: float) -> Without:
    """Why there is no time at that level."""
    import numpy as np

    if not played.bench.counter.spans or played.bench.counter.end <= played.bench.now:
        return Without.SHUT
    if not any(axis.end > played.bench.now for axis in played.bench.axes):
        return Without.NOBODY
    if math.isinf(quantile(np.sort(played.parts_in[number]), level)):
        return Without.BACK_ORDERED
    return Without.FAR

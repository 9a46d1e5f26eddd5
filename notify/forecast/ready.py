"""When each device of a shop will be ready: parts, line, hours and chance, played on thousands of paths.

The same bench, jobs, parcels, draws and seed give the same answer. All instants are seconds since 1970 UTC, worked in
whole ones; infinite means never, or beyond the hours that were given.
"""

from __future__ import annotations

import math
from collections import Counter as Times
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from notify.forecast.axis import Axes
from notify.forecast.bench import Line, play_apart, play_together
from notify.forecast.durations import Draws
from notify.forecast.outlook import forecasts
from notify.forecast.scene import MOST_PEOPLE, Bench, Job, Parcel, Played
from notify.forecast.work import Const, Exponential, Gamma, LogNormal, OfKind, dice, left

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]

__all__ = [
    "MOST_JOBS", "MOST_PEOPLE", "Bench", "Const", "Exponential", "Gamma", "Job", "LogNormal", "OfKind", "Parcel",
    "Played", "forecasts", "paths_for", "play",
]  # fmt: skip

# More jobs than any bench of five holds in a quarter; what comes after them is told so rather than reckoned.
MOST_JOBS = 1000
# Paths for up to so many jobs. A 90 % quantile of 4000 paths has a standard error of a hundredth of a typical spread.
PATHS = ((200, 4000), (500, 2000), (MOST_JOBS, 1000))


def paths_for(jobs: int) -> int:
    """How many paths are played for so many jobs. Raises ValueError above MOST_JOBS."""
    for most, paths in PATHS:
        if jobs <= most:
            return paths
    raise ValueError(f"{jobs} jobs: up to {MOST_JOBS} are reckoned with")


def play(
    bench: Bench,
    jobs: Sequence[Job],
    parcels: Sequence[Parcel] | Mapping[str, Parcel],
    kinds: Mapping[str, Draws],
    *,
    paths: int,
    seed: int,
) -> Played:
    """Plays the jobs, given in rank order. `kinds` are the draws of each repair kind named by an OfKind duration.

    Raises ValueError for too many jobs, names that come twice or are not there, and a job by nobody at the bench.
    """
    import numpy as np

    held = {parcel.key: parcel for parcel in (parcels.values() if isinstance(parcels, Mapping) else parcels)}
    _check(bench, jobs, held, paths)
    row, rows = _releases(bench, jobs, held, paths, seed)
    busy = np.empty((len(jobs), paths))
    for number, job in enumerate(jobs):
        busy[number] = left(job.duration, job.spent, kinds, paths=paths, chance=dice(seed, "job", job.id))
    together = len(set(bench.axes)) == 1
    axis = bench.axes[0] if together else None
    begun, ended = (_together if together else _apart)(bench, jobs, row, rows, busy)
    if axis is not None:
        for number in range(len(jobs)):  # one by one they stay in the processor's cache
            ended[number] = axis.finish(ended[number])
    return Played(jobs=tuple(jobs), bench=bench, busy=busy, ended=ended, _begun=begun, _axis=axis, _rows=rows, _row=row)


def _together(bench: Bench, jobs: Sequence[Job], row: Sequence[int], rows: Array, busy: Array) -> tuple[Array, Array]:
    """Begin and end in seconds of work on the one axis that all technicians share."""
    import numpy as np

    axis = bench.axes[0]
    free = np.full((len(bench.axes), busy.shape[1]), axis.work(math.ceil(bench.now)))
    released = np.where(rows < axis.end, axis.work(rows), np.inf)

    def goes_on(by: int, work: Array) -> tuple[Array, Array]:
        begun = free[by].copy()
        free[by] += work
        return begun, free[by]

    return _serve(jobs, row, released, busy, goes_on, lambda line, work: play_together(free, line, work))


def _apart(bench: Bench, jobs: Sequence[Job], row: Sequence[int], rows: Array, busy: Array) -> tuple[Array, Array]:
    """Begin and end as instants, for technicians with hours of their own (or none, who finish nothing)."""
    import numpy as np

    if not bench.axes:
        return np.full(busy.shape, np.inf), np.full(busy.shape, np.inf)
    axes = Axes.of(bench.axes)
    free = np.full((len(bench.axes), busy.shape[1]), float(math.ceil(bench.now)))

    def goes_on(by: int, work: Array) -> tuple[Array, Array]:
        begun = axes.begin(by, free[by])
        free[by] = axes.end(by, begun, work)
        return begun, free[by]

    return _serve(jobs, row, rows, busy, goes_on, lambda line, work: play_apart(free, line, work, axes))


def _serve(
    jobs: Sequence[Job],
    row: Sequence[int],
    rows: Array,
    busy: Array,
    goes_on: Callable[[int, Array], tuple[Array, Array]],
    serve: Callable[[Line, Array], tuple[Array, Array]],
) -> tuple[Array, Array]:
    """First what is on the bench, in rank order, then the jobs that nobody has yet."""
    import numpy as np

    waiting = [number for number, job in enumerate(jobs) if job.by is None]
    if len(waiting) == len(jobs):
        return serve(Line(row, rows), busy)
    begun, ended = np.empty_like(busy), np.empty_like(busy)
    for number, job in enumerate(jobs):
        if job.by is not None:
            begun[number], ended[number] = goes_on(job.by, busy[number])
    begun[waiting], ended[waiting] = serve(Line([row[number] for number in waiting], rows), busy[waiting])
    return begun, ended


def _releases(
    bench: Bench, jobs: Sequence[Job], parcels: Mapping[str, Parcel], paths: int, seed: int
) -> tuple[tuple[int, ...], Array]:
    """Which row each job has, and the rows (x paths): when it is workable. Jobs that are there already share one."""
    import numpy as np

    now = float(math.ceil(bench.now))
    arrived = {key: _arrivals(parcels[key], paths, seed) for key in {key for job in jobs for key in job.parcels}}
    keys = [(max(now, float(np.ceil(job.released))), tuple(sorted(set(job.parcels)))) for job in jobs]
    rows = np.empty((len(set(keys)), paths))
    numbers: dict[Any, int] = {}
    for key in keys:
        if key not in numbers:
            numbers[key] = len(numbers)
            rows[numbers[key]] = key[0]
            for name in key[1]:
                np.maximum(rows[numbers[key]], arrived[name], out=rows[numbers[key]])
    return tuple(numbers[key] for key in keys), rows


def _arrivals(parcel: Parcel, paths: int, seed: int) -> Array:
    import numpy as np

    instants = np.array([np.inf if at is None else np.ceil(at) for at in parcel.arrivals])
    drawn = dice(seed, "parcel", parcel.key).random(paths) * sum(parcel.shares)
    which = np.searchsorted(np.cumsum(parcel.shares), drawn, side="right")
    return np.asarray(instants[np.minimum(which, len(instants) - 1)])


def _check(bench: Bench, jobs: Sequence[Job], parcels: Mapping[str, Parcel], paths: int) -> None:
    if len(jobs) > MOST_JOBS or paths < 1:
        raise ValueError(f"{len(jobs)} jobs on {paths} paths: up to {MOST_JOBS} jobs, and a path, are reckoned with")
    if twice := [name for name, times in Times(job.id for job in jobs).items() if times > 1]:
        raise ValueError(f"job {twice[0]} is there twice")
    if missing := {key for job in jobs for key in job.parcels} - parcels.keys():
        raise ValueError(f"parcel {min(missing)} is waited for, but not given")
    for job in jobs:
        if job.by is not None and not 0 <= job.by < len(bench.axes):
            raise ValueError(f"job {job.id} is on the bench of nobody: technician {job.by} of {len(bench.axes)}")

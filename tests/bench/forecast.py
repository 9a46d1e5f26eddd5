"""The forecast of a whole shop: against numpy alone, written plainly, and against SimPy; and how it grows.

Processor time throughout, since the machine may be shared. All sides play the same jobs, releases and durations.
"""

from __future__ import annotations

import gc
import math
import random
import statistics
import time
from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Any

import numpy as np
import simpy

from notify.forecast.axis import Axis
from notify.forecast.ready import Bench, Job, LogNormal, Parcel, Played, play
from tests.bench.line import Figure, Side, alternate, compare

DAY, OPEN = 86_400, 9 * 3600
MU, SIGMA = 3.4, 0.5
PLAIN = (
    "numpy alone, in seconds of work: one draw of all durations, one step a job over all paths, whoever is free first "
    "(argmin), the first job in rank order whose release is past (argmax); no hours, no parcels, nothing checked"
)
FIRST_COME = "numpy alone, in seconds of work; all jobs are there, so none is chosen; one step a job over all paths"
EVENTS = (
    "the same model in SimPy: a priority store of jobs, filled by a process for each parcel, and one for each "
    "technician, who stops while the shop is shut; one path after the other"
)
AXIS = Axis.of([(day * DAY + OPEN, day * DAY + 2 * OPEN) for day in range(130)])
Array = Any
Steps = Generator[simpy.Event, Any, Any]


@dataclass(frozen=True)
class Size:
    """So many jobs of which the share `parts` waits for one of the parcels; technicians; paths."""

    jobs: int
    people: int
    paths: int
    parts: float


def figures(
    *, rounds: int, small: int = 30, large: int = 500, runs: int = 20, paths: tuple[int, int] = (4000, 2000)
) -> list[Figure]:
    """Both sizes against both, and the growth: from `large` / 5 by doubling. `runs` are the paths that SimPy plays."""
    shops = {
        "forecast_small": Size(small, 3, paths[0], 0.4), "forecast_large": Size(large, 2, paths[1], 0.3),
        "forecast_large_in_hand": Size(large, 2, paths[1], 0.0),
    }  # fmt: skip
    found = []
    for name, size in shops.items():
        found += [_against_numpy(name, size, rounds), _against_events(f"{name}_events", size, rounds, runs)]
    return [*found, _growth([max(2, large // 5) * factor for factor in (1, 2, 4)], paths[1], rounds)]


def _shop(size: Size) -> tuple[Bench, list[Job], list[Parcel]]:
    """Parcels come at ten on each of the next days, or one or three days later, so many that each frees three jobs."""
    dice = random.Random(11)
    waiting = round(size.jobs * size.parts)
    boxes = max(1, waiting // 3)
    days = max(2, size.jobs // 20)
    parcels = []
    for number in range(boxes):
        first = float(dice.randint(1, days) * DAY + OPEN + 3600)
        parcels.append(Parcel(f"P{number}", (first, first + DAY, first + 3 * DAY), (0.8, 0.15, 0.05)))
    needs = {job: (f"P{dice.randrange(boxes)}",) for job in dice.sample(range(size.jobs), waiting)}
    jobs = [Job(f"J{job}", LogNormal(MU, SIGMA), 0.0, needs.get(job, ())) for job in range(size.jobs)]
    return Bench(float(OPEN), (AXIS,) * size.people, AXIS), jobs, parcels


def _ours(size: Size) -> tuple[float, Played]:
    bench, jobs, parcels = _shop(size)
    return _timed(lambda: _with_ready(play(bench, jobs, parcels, {}, paths=size.paths, seed=1)))


def _with_ready(played: Played) -> Played:
    assert played.ready.shape
    return played


def _timed(run: Callable[[], Any]) -> tuple[float, Any]:
    gc.disable()  # or one side would pay for what the other has left behind
    began = time.process_time()
    found = run()
    seconds = time.process_time() - began
    gc.enable()
    return max(seconds, 1e-6), found


def _releases(size: Size) -> Array:
    """Seconds of work at which each job is workable (jobs x paths), drawn beforehand and for nothing."""
    bench, jobs, parcels = _shop(size)
    return AXIS.work(play(bench, jobs, parcels, {}, paths=size.paths, seed=1).parts_in)


def _against_numpy(name: str, size: Size, rounds: int) -> Figure:
    releases = _releases(size)
    held: dict[str, Array] = {}

    def ours(_: int) -> float:
        seconds, played = _ours(size)
        held["ours"] = AXIS.work(played.ready)
        return size.paths / seconds

    def theirs(_: int) -> float:
        run = (lambda: _first_come(size)) if not size.parts else (lambda: _plain(size, releases))
        seconds, held["theirs"] = _timed(run)
        return size.paths / seconds

    ratio, we, they = compare(alternate(rounds, ours, theirs), unit="paths/CPU-s")
    more = {"jobs": size.jobs, "people": size.people, "paths": size.paths, **_agreement(held["ours"], held["theirs"])}
    return Figure(name, ratio, 0.5, PLAIN if size.parts else FIRST_COME, rounds, we, they, more=more)


def _agreement(ours: Array, theirs: Array) -> dict[str, float]:
    """How far the 90 % quantiles of the jobs lie apart, in minutes: the sides must play the same shop."""
    apart = np.abs(np.quantile(ours, 0.9, axis=1) - np.quantile(theirs, 0.9, axis=1)) / 60
    spread = np.std(theirs, axis=1) / 60
    assert (apart < 1 + 25 * spread / math.sqrt(ours.shape[1])).all(), "the two play different shops"
    return {"farthest_q90_minutes": round(float(apart.max()), 1)}


def _durations(size: Size) -> Array:
    return np.random.default_rng(2).lognormal(MU, SIGMA, (size.jobs, size.paths)) * 60


def _plain(size: Size, releases: Array) -> Array:
    work, released = _durations(size), releases.copy()
    free, each, ended = np.zeros((size.people, size.paths)), np.arange(size.paths), np.empty_like(work)
    for _ in range(size.jobs):
        who = free.argmin(axis=0)
        at = np.maximum(free[who, each], released.min(axis=0))
        job = (released <= at).argmax(axis=0)
        ended[job, each] = free[who, each] = at + work[job, each]
        released[job, each] = np.inf
    return ended


def _first_come(size: Size) -> Array:
    work = _durations(size)
    free, each, ended = np.zeros((size.people, size.paths)), np.arange(size.paths), np.empty_like(work)
    for job in range(size.jobs):
        who = free.argmin(axis=0)
        ended[job] = free[who, each] + work[job]
        free[who, each] = ended[job]
    return ended


def _against_events(name: str, size: Size, rounds: int, runs: int) -> Figure:
    """SimPy plays `runs` paths and its time is counted a path, since all of them would take minutes."""
    held: dict[str, Array] = {}

    def ours(_: int) -> float:
        seconds, played = _ours(size)
        held["ours"] = played.ready
        return size.paths / seconds

    def theirs(_: int) -> float:
        dice = random.Random(5)
        jobs, parcels = _shop(size)[1:]
        seconds, held["theirs"] = _timed(lambda: [_by_events(size, jobs, parcels, dice) for _ in range(runs)])
        return runs / seconds

    ratio, we, they = compare(alternate(rounds, ours, theirs), unit="paths/CPU-s")
    last, other = float(held["ours"].max(axis=0).mean()), statistics.mean(max(run) for run in held["theirs"])
    assert abs((last - OPEN) / (other - OPEN) - 1) < 0.25, "the two play different shops"
    more = {"jobs": size.jobs, "people": size.people, "paths": size.paths, "simpy_paths": runs}
    return Figure(name, ratio, 80, EVENTS, rounds, we, they, more=more)


def _by_events(size: Size, jobs: list[Job], parcels: list[Parcel], dice: random.Random) -> list[float]:
    """When each job is ready, on one path. Parcels come while the shop is open, so nobody has to choose by night."""
    env = simpy.Environment(initial_time=OPEN)
    line, ended = simpy.PriorityStore(env), [0.0] * size.jobs
    held: dict[str, list[int]] = {}
    for rank, job in enumerate(jobs):
        if job.parcels:
            held.setdefault(job.parcels[0], []).append(rank)
        else:
            line.put(rank)

    def comes(parcel: Parcel) -> Steps:
        [at] = dice.choices(parcel.arrivals, parcel.shares)
        assert at is not None
        yield env.timeout(at - env.now)
        for rank in held.get(parcel.key, ()):
            yield line.put(rank)

    def works() -> Steps:
        while True:
            rank = yield line.get()
            left = 60 * dice.lognormvariate(MU, SIGMA)
            while True:
                opens = env.now // DAY * DAY + OPEN
                if env.now >= opens + OPEN:
                    opens += DAY
                if env.now < opens:
                    yield env.timeout(opens - env.now)
                done = min(left, opens + OPEN - env.now)
                yield env.timeout(done)
                left -= done
                if left <= 0:
                    break
            ended[rank] = env.now

    for parcel in parcels:
        env.process(comes(parcel))
    for _ in range(size.people):
        env.process(works())
    env.run()
    return ended


def _growth(jobs: list[int], paths: int, rounds: int) -> Figure:
    """By which power of the jobs the cost grows, against the square that is allowed: the steeper of two doublings."""
    sizes = [Size(number, 2, paths, 0.3) for number in jobs]
    for size in sizes:
        _ours(size)
    taken = [statistics.median(_ours(size)[0] for _ in range(max(3, rounds))) for size in sizes]
    steepest = max(math.log2(taken[1] / taken[0]), math.log2(taken[2] / taken[1]))
    more = {"jobs": jobs, "cpu_ms": [round(seconds * 1000, 2) for seconds in taken]}
    we, they = Side(round(steepest, 3), "power of the jobs"), Side(2.0, "power of the jobs")
    against = "cost that grows with the square of the jobs; 2 technicians, 30 % waiting for parts"
    return Figure("forecast_growth", steepest / 2, 1.0, against, rounds, we, they, higher=False, more=more)

"""A better bench order for twelve jobs and two technicians: against as many bare plays as it looks at orders."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from notify.forecast.order import PATHS, suggest
from tests.bench.line import Figure, Side, alternate, compare
from tests.parts.bench_table import Afternoon, afternoon

JOBS, PEOPLE, LIMIT = 12, 2, 0.6  # seconds of processor time
AGAINST = (
    "numpy alone: twelve jobs for two, one step a job over 400 paths, whoever is free first takes the first workable "
    "one; drawn once, no calendars, no proving, nothing judged or chosen; as often as orders were looked at"
)


def figures(*, afternoons: int, rounds: int) -> list[Figure]:
    """`bench_order` and `bench_order_cpu`: suggestions for that many invented afternoons."""
    days = [afternoon(100 + number, jobs=JOBS, people=PEOPLE) for number in range(afternoons)]
    looks, spent = [_suggest(day)[0] for day in days], list[float]()

    def ours(_: int) -> float:
        took = [_suggest(day)[1] for day in days]
        spent.extend(took)
        return len(days) / sum(took)

    def theirs(_: int) -> float:
        began = time.process_time()
        for day, times in zip(days, looks, strict=True):
            work, come = _drawn(day)
            for _again in range(times):
                _bare(work, come)
        return len(days) / (time.process_time() - began)

    ratio, we, they = compare(alternate(rounds, ours, theirs), unit="suggestions/s of a core")
    more = {"jobs": JOBS, "technicians": PEOPLE, "looks": round(sum(looks) / len(looks), 1)}
    most, mean = max(spent), sum(spent) / len(spent)
    limit = Side(LIMIT, "s of a core")
    return [
        Figure("bench_order", ratio, 0.5, AGAINST, len(days) * rounds, we, they, more=more),
        Figure("bench_order_cpu", most / LIMIT, 1.0, f"{LIMIT} s of processor time, the longest of all", len(spent),
               Side(most, "s of a core", tuple(spent)), limit, higher=False, more={"mean_s": round(mean, 3)}),
    ]  # fmt: skip


def _suggest(day: Afternoon) -> tuple[int, float]:
    """How many orders were looked at (a guess of two hundred where nothing was better), and processor seconds."""
    began = time.process_time()
    found = suggest(day.bench, day.jobs, day.parcels, {}, day.goals)
    return found.looks if found else 200, time.process_time() - began


def _drawn(day: Afternoon) -> tuple[Any, Any]:
    chance = np.random.default_rng(1)
    work = chance.lognormal(8, 0.5, (len(day.jobs), PATHS))
    late = np.array([bool(job.parcels) for job in day.jobs])[:, None]
    return work, np.where(late, chance.uniform(1800, 18_000, work.shape), 0.0)


def _bare(work: Any, come: Any) -> Any:
    jobs, paths = work.shape
    each, free = np.arange(paths), np.zeros((PEOPLE, paths))
    left, ended = np.ones((jobs, paths), dtype=bool), np.empty((jobs, paths))
    for _ in range(jobs):
        who = free.argmin(axis=0)
        at = np.maximum(free[who, each], np.where(left, come, np.inf).min(axis=0))
        job = (left & (come <= at)).argmax(axis=0)
        ended[job, each] = free[who, each] = at + work[job, each]
        left[job, each] = False
    return ended

"""Small benches for tests: known durations through the product's own engine, every order of a few jobs, and invented
afternoons of a dozen."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

import numpy as np

from notify.forecast import ready
from notify.forecast.axis import Axis
from notify.forecast.order_rules import edd, moore_hodgson, spt
from notify.forecast.order_search import Found, Goals, search
from notify.forecast.replay import Replay

ALWAYS = Axis.of([(0.0, 1e7)])
HOUR = 3600.0
OPENING = 1_795_683_600.0  # Thursday 26 November 2026, 9:00 UTC


@dataclass(frozen=True)
class Afternoon:
    """One invented bench: jobs in the order of check-in, their parcels, and by when each is promised."""

    bench: ready.Bench
    jobs: tuple[ready.Job, ...]
    parcels: tuple[ready.Parcel, ...]
    dues: tuple[float, ...]

    @property
    def goals(self) -> dict[str, tuple[float, bool]]:
        """As `suggest` wants them."""
        return {job.id: (due, True) for job, due in zip(self.jobs, self.dues, strict=True)}

    def kept(self, order: Sequence[int], *, paths: int = 2000) -> float:
        """Promises kept on average, with luck of its own, through `ready.play` alone."""
        jobs = [self.jobs[number] for number in order]
        played = ready.play(self.bench, jobs, self.parcels, {}, paths=paths, seed=99)
        dues = np.array([self.dues[number] for number in order])[:, None]
        return float((played.ready <= dues).mean(axis=1).sum())


def afternoon(seed: int, *, jobs: int = 12, people: int = 1, proving: float = 600.0, apart: bool = False) -> Afternoon:
    """Lognormal work of a median of 20 to 90 minutes; three of ten wait for a part; promised within some hours.

    The facts' own instances are not published: parts by categories and closing are ours.
    """
    chance = random.Random(seed)
    days = [(OPENING + day * 24 * HOUR, OPENING + day * 24 * HOUR + 9 * HOUR) for day in range(30)]
    counter = Axis.of(days)
    axes = [counter if not apart or not n else Axis.of([(a + n * HOUR, b - n * HOUR) for a, b in days])
            for n in range(people)]  # fmt: skip
    parcels, taken, dues = [], [], []
    for number in range(jobs):
        keys: tuple[str, ...] = ()
        if chance.random() < 0.3:
            keys = (f"box {number}",)
            first = OPENING + chance.uniform(0.5, 5) * HOUR
            parcels.append(ready.Parcel(keys[0], (first, first + 24 * HOUR, None), (0.85, 0.12, 0.03)))
        work = ready.LogNormal(math.log(chance.uniform(20, 90)), 0.5)
        taken.append(ready.Job(f"job {number}", work, OPENING, keys))
        dues.append(OPENING + chance.uniform(1.5, 13 if people == 1 else 7) * HOUR)
    return Afternoon(ready.Bench(OPENING, tuple(axes), counter, proving), tuple(taken), tuple(parcels), tuple(dues))


def replay(work: Sequence[float], *, releases: Sequence[float] = (), machines: int = 1) -> Replay:
    """Jobs of exactly that many seconds, on a bench that never closes."""
    jobs = [ready.Job(str(n), ready.Const(one), releases[n] if releases else 0.0) for n, one in enumerate(work)]
    bench = ready.Bench(0.0, (ALWAYS,) * machines, ALWAYS)
    return Replay(ready.play(bench, jobs, [], {}, paths=1, seed=0))


def ends(table: Replay, order: Sequence[int]) -> Any:
    """When each job ends, by its number."""
    return table(order)[:, 0]


def every_order(jobs: int) -> Iterator[tuple[int, ...]]:
    """All of them: for a few jobs only."""
    return permutations(range(jobs))


def fewest_late(table: Replay, dues: Sequence[float]) -> int:
    """By trying every order."""
    return min(int((ends(table, one) > np.asarray(dues)).sum()) for one in every_order(len(dues)))


def searched(table: Replay, work: Sequence[float], dues: Sequence[float], releases: Sequence[float] = ()) -> Any:
    """When each job ends in the order that the product's search finds, from the order given."""
    goals, begin = Goals(dues, [True] * len(dues)), tuple(range(len(dues)))
    starts = [edd(dues), spt(work), moore_hodgson(work, dues, releases)]
    found: Found | None = search(table, goals, begin, starts=starts)
    return ends(table, found.order if found else begin)

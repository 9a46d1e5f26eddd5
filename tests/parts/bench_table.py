"""Small benches for tests: known durations through the product's own engine, and every order of a few jobs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import permutations
from typing import Any

import numpy as np

from notify.forecast import ready
from notify.forecast.axis import Axis
from notify.forecast.order import Found, Goals, search
from notify.forecast.order_rules import edd, moore_hodgson, spt
from notify.forecast.replay import Replay

ALWAYS = Axis.of([(0.0, 1e7)])


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

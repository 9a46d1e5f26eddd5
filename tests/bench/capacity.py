"""How many customers a slot may hold: a whole table, against numpy alone."""

from __future__ import annotations

import math
import time

import numpy as np

from notify.forecast.counter import Handover, Load, simulate
from tests.bench.line import Figure, alternate, compare

AGAINST = (
    "numpy alone: normal arrivals sorted by day, lognormal handovers, one step a customer over all days, two instants "
    "at which somebody is free; no no-shows, no walk-ins, nothing checked"
)


def figures(*, days: int, rounds: int) -> list[Figure]:
    """`capacity`: two people, one to six customers a slot, `days` days each."""
    loads = [Load(2, number, Handover(6.5)) for number in range(1, 7)]
    found: dict[str, list[float]] = {}

    def ours(_: int) -> float:
        began = time.perf_counter()
        found["ours"] = [simulate(load, days=days).over for load in loads]
        return 1 / (time.perf_counter() - began)

    def theirs(_: int) -> float:
        began = time.perf_counter()
        found["theirs"] = [_bare(load.per_slot, days) for load in loads]
        return 1 / (time.perf_counter() - began)

    ratio, we, they = compare(alternate(rounds, ours, theirs), unit="tables/s")
    off = max(abs(a - b) for a, b in zip(found["ours"], found["theirs"], strict=True))
    assert off < 0.02, "the two play different days"
    return [Figure("capacity", ratio, 0.5, AGAINST, rounds, we, they, more={"farthest_share": round(off, 4)})]


def _bare(per_slot: int, days: int) -> float:
    chance = np.random.default_rng(1)
    due = np.repeat(np.arange(16) * 15.0, per_slot)
    arrivals = np.sort(np.maximum(due + 5 * chance.standard_normal((days, due.size)), 0), axis=1).T.copy()
    sigma2 = math.log(1 + 0.4**2)
    durations = chance.lognormal(math.log(6.5) - sigma2 / 2, math.sqrt(sigma2), arrivals.shape)
    first, second, late = np.zeros(days), np.zeros(days), 0
    for arrival, duration in zip(arrivals, durations, strict=True):
        start = np.maximum(first, arrival)
        late += int(np.count_nonzero(start - arrival > 5))
        done = start + duration
        first, second = np.minimum(done, second), np.maximum(done, second)
    return late / arrivals.size

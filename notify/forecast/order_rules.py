"""The exact rules of scheduling for one machine: where the search for a better order starts from.

Work, dues and releases share one unit and one beginning; what comes back are the jobs' numbers in the order to be done.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush


def edd(dues: Sequence[float]) -> tuple[int, ...]:
    """By due time: the largest lateness is as small as it can be (Jackson 1955, one machine, all there at once)."""
    return tuple(sorted(range(len(dues)), key=lambda job: dues[job]))


def spt(work: Sequence[float]) -> tuple[int, ...]:
    """The shortest first: the mean time until ready is as small as it can be (Smith 1956, one machine)."""
    return tuple(sorted(range(len(work)), key=lambda job: work[job]))


def moore_hodgson(work: Sequence[float], dues: Sequence[float], releases: Sequence[float] = ()) -> tuple[int, ...]:
    """As few late as possible (Moore 1968), in n log n: by due time, and when one would be late the longest so far goes
    to the end. Exact when all are there at once; with releases it is only a good beginning (the problem is NP-hard).
    """
    by_due, dropped = edd(dues), set[int]()
    longest: list[tuple[float, int]] = []
    clock = 0.0
    for job in by_due:
        clock = max(clock, releases[job] if releases else clock) + work[job]
        heappush(longest, (-work[job], job))
        if clock > dues[job]:
            shorter, late = heappop(longest)
            clock += shorter
            dropped.add(late)
    return tuple(sorted(by_due, key=lambda job: job in dropped))

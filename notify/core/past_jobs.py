"""What a finished repair teaches: which durations are believed, and sums of their logs that can be taken away again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import log

# Minutes of hands-on work that are believed. Below: the button was pressed late. Above: it was never pressed.
# Common practice, no source.
LEAST, MOST = 1.0, 16 * 60.0
# Logs and their squares are kept as multiples of 2**-24. A double holds sums of such multiples exactly up to 2**29 (ten
# million jobs of sixteen hours), so the order in which jobs come and go leaves no trace. It costs 6e-8 of a duration.
_GRID = 2.0**24


@dataclass(frozen=True, slots=True)
class Sums:
    """How many jobs, the sum of their log minutes, and the sum of the squares: all that is learned of a kind."""

    jobs: int = 0
    total: float = 0.0
    squares: float = 0.0

    def __add__(self, other: Sums) -> Sums:
        return Sums(self.jobs + other.jobs, self.total + other.total, self.squares + other.squares)

    def __neg__(self) -> Sums:
        return Sums(-self.jobs, -self.total, -self.squares)


def is_believed(minutes: float) -> bool:
    """Whether a duration can be meant; NaN is none."""
    return LEAST <= minutes <= MOST


def sums_of_one(minutes: float) -> Sums:
    """What one job adds. Raises ValueError for no time at all."""
    log_minutes = log(minutes)
    return Sums(1, round(log_minutes * _GRID) / _GRID, round(log_minutes * log_minutes * _GRID) / _GRID)


def sums_of(minutes: Iterable[float]) -> Sums:
    """What these jobs add, in any order."""
    whole = Sums()
    for one in minutes:
        whole += sums_of_one(one)
    return whole

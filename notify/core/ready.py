"""When a device will be ready: the words that the forecast, its store and its pages share.

A quantile at level p is a time before which the device is ready with probability p.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

# The quantiles that are kept of a forecast: 19 levels, 5 % apart.
LEVELS = tuple(round(0.05 * step, 2) for step in range(1, 20))
# A part comes when it is due, or 1, 2, 3 working days later, or this is more than a delay (`Without.BACK_ORDERED`).
DELAYS = 4
MODEL = "1"  # raised when the same facts would give another forecast


class Without(StrEnum):
    """Why nothing can be promised. No promise is better than a far one."""

    QUESTION = "question"  # the customer has to answer first; the clock stops meanwhile
    NOT_ORDERED = "not_ordered"  # nobody has ordered the part
    NO_DUE = "no_due"  # nobody knows when the part comes
    BACK_ORDERED = "back_ordered"  # the part is so late that nobody knows
    NOBODY = "nobody"  # nobody is at the bench
    SHUT = "shut"  # the shop is not open within the time that is looked at
    FAR = "far"  # it would be further off than anybody could mean
    TOO_MANY = "too_many"  # more tickets than are reckoned with


class Decides(StrEnum):
    """What the ready time hangs on most."""

    PART = "part"  # the part comes late, seen from the bench
    LINE = "line"  # other devices come first
    WORK = "work"  # the repair itself
    HANDS = "hands"  # it lies on the bench


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """The forecast of one ticket: either `without` says why there is none, or `grid` has the quantiles of LEVELS.

    `level` is the share asked for (core of calibration: not the wanted one itself); `quantile_at` the quantile there,
    `promise_at` the first tick of the counter not before it. `chance` is that of keeping the promise that stands, None
    without one. The same `inputs` (a hash) and `seed` give the same forecast.
    """

    ticket_id: str
    made_at: datetime
    without: Without | None = None
    grid: tuple[datetime, ...] = ()
    level: float = 0.0
    quantile_at: datetime | None = None
    promise_at: datetime | None = None
    chance: float | None = None
    decides: Decides | None = None
    seed: int = 0
    model: str = MODEL
    inputs: str = ""

    def at(self, level: float) -> datetime | None:
        """The quantile of the grid at that level of LEVELS; None without a forecast. Raises ValueError for another."""
        return self.grid[LEVELS.index(level)] if self.grid else None


def pack(grid: tuple[datetime, ...]) -> list[int]:
    """A grid as it is kept: whole seconds since 1970 UTC, rounded up, for a promise is never early."""
    return [-int(-moment.timestamp() // 1) for moment in grid]


def unpack(kept: list[int]) -> tuple[datetime, ...]:
    """A kept grid as instants."""
    return tuple(datetime.fromtimestamp(seconds, UTC) for seconds in kept)


def chance_by(grid: tuple[datetime, ...], at: datetime) -> float:
    """The chance that a device is ready at `at` or before, from the quantiles of LEVELS; between two of them on a line.

    Below the first quantile and from the last one on, the middle of what is left there: the grid says no more.
    """
    reached = bisect_right(grid, at)
    if reached == 0:
        return LEVELS[0] / 2
    if reached == len(grid):
        return (1 + LEVELS[-1]) / 2
    before, after = grid[reached - 1], grid[reached]
    return LEVELS[reached - 1] + (at - before) / (after - before) * (LEVELS[reached] - LEVELS[reached - 1])

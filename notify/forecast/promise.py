"""From a sample of ready times to one time that can be promised, and the chance that it is kept."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from notify.core.errors import Invalid
from notify.core.hours import Counter, spans_on
from notify.core.instants import need_aware, zone

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]

LOOK_AHEAD = 400  # days, as the opening hours look ahead
_DAY = timedelta(days=1)
_MINUTES_A_DAY = 24 * 60
_DUST = 1e-3  # seconds: what is left of an instant after sums of fractions


def quantile(sample: Array, level: float) -> float:
    """The quantile of a sorted sample at `level` (0 to 1): the ceil(level * (N + 1))-th smallest, never less than fair.

    Not interpolated, so that a new draw is at most that with probability `level` at least. Infinite if the sample is
    too small for the level. Raises ValueError for a level outside, or for no sample.
    """
    rank = _rank(len(sample), level)
    return float(sample[rank - 1]) if rank <= len(sample) else math.inf


def quantiles(sample: Array, levels: tuple[float, ...]) -> tuple[float, ...]:
    """`quantile` at each level."""
    return tuple(quantile(sample, level) for level in levels)


def chance(sample: Array, at: float) -> float:
    """The share of a sorted sample (epoch seconds) that is ready by that instant; exactly then is in time."""
    import numpy as np

    if not len(sample):
        raise ValueError("a chance needs a sample, and this one is empty")
    return int(np.searchsorted(sample, at, side="right")) / len(sample)


def tick(counter: Counter, at: datetime, minutes: int) -> datetime | None:
    """The first tick of the counter's local clock not before `at` (UTC); None if there is none in 400 days.

    Ticks are the full `minutes` of each local day while the counter is open, the closing instant included. A wall
    time that comes twice is two ticks, one that is skipped is none. Raises Invalid for minutes that divide no day.
    """
    if minutes < 1 or _MINUTES_A_DAY % minutes:
        raise Invalid(f"Ticks of {minutes} minutes do not fill a day", "Use 15 or 30.", field="promise_tick")
    wanted = need_aware(at)
    day = wanted.astimezone(zone(counter.zone)).date() - _DAY  # yesterday's last span may close right now
    for ahead in range(LOOK_AHEAD):
        if (found := _tick_on(counter, day + ahead * _DAY, wanted, minutes)) is not None:
            return found
    return None


def instant_of(seconds: float) -> datetime:
    """Epoch seconds as an instant in whole seconds, rounded up, for a promise is never early."""
    return datetime.fromtimestamp(math.ceil(seconds - _DUST), UTC)


def _rank(size: int, level: float) -> int:
    if not size or not 0.0 < level < 1.0:
        raise ValueError(f"no quantile at {level} of {size} values: give a level between 0 and 1, and a sample")
    return max(1, math.ceil(round(level * (size + 1), 9)))


def _tick_on(counter: Counter, day: date, wanted: datetime, minutes: int) -> datetime | None:
    for span in spans_on(counter, day):
        if wanted <= span.end_utc:
            found = _aligned(max(wanted, span.start_utc), counter.zone, minutes)
            if found <= span.end_utc:
                return found
    return None


def _aligned(moment: datetime, zone_name: str, minutes: int) -> datetime:
    """That instant or the next at which the wall clock shows full ticks; asked again after each jump of the clock."""
    tz = zone(zone_name)
    while True:
        wall = moment.astimezone(tz).replace(tzinfo=None)
        past = (wall - datetime.combine(wall.date(), datetime.min.time())) % timedelta(minutes=minutes)
        if not past:
            return moment
        moment += timedelta(minutes=minutes) - past

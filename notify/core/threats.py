"""When a promise is in danger, why, and what the customer may be told of it: rules and codes only."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum

from notify.core.ready import Decides, Forecast, Without

# A part that was noted as needed a moment ago is mostly being ordered. Common practice, no source.
ORDER_WITHIN = timedelta(minutes=15)
HARDLY = 0.1  # a chance below this is told in words: no false precision


class Threat(StrEnum):
    """Why a promise will hardly be kept."""

    PART_LATE = "part_late"
    PART_MISSING = "part_missing"
    BENCH_BUSY = "bench_busy"
    OTHER_JOB = "other_job"
    NOBODY = "nobody"
    WORK = "work"


_WITHOUT = {
    Without.NOT_ORDERED: Threat.PART_MISSING,
    Without.NO_DUE: Threat.PART_MISSING,
    Without.BACK_ORDERED: Threat.PART_LATE,
    Without.NOBODY: Threat.NOBODY,
    Without.SHUT: Threat.NOBODY,
    Without.FAR: Threat.BENCH_BUSY,
}
# No time to name, but what was played says how likely an earlier promise is.
_STILL_KNOWN = (None, Without.BACK_ORDERED, Without.FAR)
_DECIDES = {
    Decides.PART: Threat.PART_LATE,
    Decides.LINE: Threat.BENCH_BUSY,
    Decides.WORK: Threat.WORK,
    Decides.HANDS: Threat.WORK,
}
# What the customer is told: a reason of flows/promises.WHY, without what is the shop's own business.
TOLD = {
    Threat.PART_LATE: "part_late",
    Threat.PART_MISSING: "part_missing",
    Threat.BENCH_BUSY: "bench_busy",
    Threat.OTHER_JOB: "other_job",
    Threat.NOBODY: "other",
    Threat.WORK: "other",
}


def told_why(why: Threat, *, promised_on: datetime, needed_at: datetime | None) -> str:
    """The reason that the customer may be told: a code of TOLD.

    `promised_on`: when the promise was made; `needed_at`: since when the part that comes last is needed. A part found
    wanting only after the promise is no late one, and nobody's supplier is blamed for it.
    """
    if why is Threat.PART_LATE and needed_at is not None and needed_at > promised_on:
        return TOLD[Threat.PART_MISSING]
    return TOLD[why]


def chance_of(forecast: Forecast) -> float:
    """The chance that the promise is kept; none while nothing can be said.

    Where no time is sure enough to be named, the one that stands may be kept all the same.
    """
    return forecast.chance or 0.0 if forecast.without in _STILL_KNOWN else 0.0


def threat(
    forecast: Forecast, promise_at: datetime, *, now: datetime, warn: float, needed_at: datetime | None, overrun: bool
) -> Threat | None:
    """Why the promise that stands is in danger, None if it is not: it is kept with a chance of at least `warn`.

    Nor is one whose time has come: then it is simply late. While the customer has to answer the clock stands still.
    `needed_at`: since when a part is needed that nobody has ordered. `overrun`: a job that lies on the bench takes
    longer than such jobs usually do.
    """
    if promise_at <= now or forecast.without in (Without.QUESTION, Without.TOO_MANY):
        return None
    if forecast.without is Without.NOT_ORDERED and needed_at is not None and now - needed_at < ORDER_WITHIN:
        return None
    if forecast.without in _STILL_KNOWN and chance_of(forecast) >= warn:
        return None
    if forecast.without is not None:
        return _WITHOUT[forecast.without]
    why = _DECIDES[forecast.decides or Decides.WORK]
    behind = forecast.decides in (Decides.LINE, Decides.WORK)
    return Threat.OTHER_JOB if behind and overrun else why


def may_tell(forecast: Forecast, promise_at: datetime, *, told_today: bool) -> bool:
    """Whether the shop's rule may name a new time: a later one, once a day. Earlier ones are staff's choice."""
    return forecast.promise_at is not None and forecast.promise_at > promise_at and not told_today

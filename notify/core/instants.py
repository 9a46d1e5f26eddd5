"""Aware UTC instants and wall clocks: the few conversions that every rule about time shares."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from notify.core.errors import Invalid

_SECOND = timedelta(seconds=1)
FURTHEST = timedelta(days=3 * 366)  # no repair is promised, asked or ordered for longer: a slip of the pen


def need_aware(moment: datetime, *, field: str = "") -> datetime:
    """The same instant in UTC. Raises Invalid for a naive datetime, and for one past the calendar: neither is one."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise Invalid(
            "A time without a zone was given where an instant is needed",
            "Give it with its offset, for example 2026-11-25T09:00:00+00:00.",
            field=field,
        )
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        raise _past_calendar(field) from None


def need_near(moment: datetime, *, now: datetime, field: str) -> datetime:
    """The same instant in UTC, if it can be meant as a time to come. Raises Invalid for one over three years ahead."""
    utc = need_aware(moment, field=field)
    if utc > now + FURTHEST:
        raise Invalid("That time is more than three years ahead", "Look at the year once more.", field=field)
    return utc


def _past_calendar(field: str = "") -> Invalid:
    return Invalid("That time lies outside the calendar", "Look at the year once more.", field=field)


def zone(name: str) -> ZoneInfo:
    """The zone of that IANA name, such as Europe/London. Raises Invalid that names the bad zone.

    Start-up has told zoneinfo to read the tzdata package only, so that every machine gives the same answer.
    """
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as wrong:  # unknown name, path tricks, name of a folder
        raise Invalid(
            f"{name[:60]!r} is not a time zone", "Use an IANA name such as Europe/London.", field="zone"
        ) from wrong


def local(moment: datetime, zone_name: str) -> datetime:
    """What the wall clock in that zone shows at that instant (aware). Raises Invalid."""
    try:
        return need_aware(moment).astimezone(zone(zone_name))
    except OverflowError:
        raise _past_calendar() from None


def exists(wall: datetime, tz: ZoneInfo) -> bool:
    """Whether a naive wall time happens at all; false inside the gap when clocks go forward."""
    return reading(wall, tz).astimezone(tz).replace(tzinfo=None, fold=0) == wall.replace(fold=0)


def is_ambiguous(wall: datetime, tz: ZoneInfo) -> bool:
    """Whether a naive wall time happens twice, because clocks go back over it."""
    return exists(wall, tz) and reading(wall, tz, fold=0) != reading(wall, tz, fold=1)


def instant(wall: datetime, tz: ZoneInfo, *, fold: int = 0) -> datetime:
    """UTC instant of a naive wall time; `fold` 1 is the second of two. In a gap: the instant of the jump.

    A gap is left at its end on purpose: a shop that opens at 01:30 on the night without a 01:30 opens
    when the clock jumps past it, not an hour later.
    """
    if exists(wall, tz):
        return reading(wall, tz, fold=fold)
    return jump_between(reading(wall, tz, fold=1), reading(wall, tz, fold=0), tz)


def first_instant(day: date, tz: ZoneInfo) -> datetime:
    """UTC instant at which that local date begins (midnight itself may be missing or come twice)."""
    return instant(datetime.combine(day, time(0)), tz)


def noon(day: date) -> datetime:
    """Noon of a day in UTC, for saying a day where an instant is asked for.

    It is the same day in every zone of people's shops but the farthest in the Pacific.
    """
    return datetime.combine(day, time(12), tzinfo=UTC)


@lru_cache(maxsize=4096)
def steady_offset(day: date, tz: ZoneInfo) -> timedelta | None:
    """The offset of the zone that holds from the first to the last instant of that local date; None where it changes.

    Looked at each quarter of an hour: no zone has changed twice within one (tz database, from memory).
    """
    first, last = first_instant(day, tz), first_instant(day + timedelta(days=1), tz)
    quarters = (first + timedelta(minutes=15 * n) for n in range((last - first) // timedelta(minutes=15)))
    offsets = {moment.astimezone(tz).utcoffset() for moment in (*quarters, last)}
    return offsets.pop() if len(offsets) == 1 else None


def jump_between(early: datetime, late: datetime, tz: ZoneInfo) -> datetime:
    """First second in (early, late] at which the zone has the offset that it has at `late`.

    For a span with one clock change in it; clocks change on whole seconds.
    """
    low, high = early.replace(microsecond=0), late.replace(microsecond=0)
    after = high.astimezone(tz).utcoffset()
    while high - low > _SECOND:
        middle = (low + (high - low) // 2).replace(microsecond=0)
        if middle.astimezone(tz).utcoffset() == after:
            high = middle
        else:
            low = middle
    return high


def reading(wall: datetime, tz: ZoneInfo, *, fold: int = 0) -> datetime:
    """UTC instant of a naive wall time as RFC 5545 3.3.5 form 3 reads it, even if the clock skips it.

    Twice there: the first occurrence. Never there: by the offset before the gap. `fold` 1 is the other one.
    """
    try:
        return wall.replace(tzinfo=tz, fold=fold).astimezone(UTC)
    except OverflowError:
        raise _past_calendar() from None

"""Periods such as P6Y or P30D: read strictly, added by the calendar, counted from an anchor."""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from notify.core.errors import Invalid
from notify.core.instants import instant, need_aware, zone

_SHAPE = re.compile(
    r"P(?=[0-9T])(?:(?P<weeks>[0-9]{1,6})W|"
    r"(?:(?P<years>[0-9]{1,6})Y)?(?:(?P<months>[0-9]{1,6})M)?(?:(?P<days>[0-9]{1,6})D)?"
    r"(?:T(?=[0-9])(?:(?P<hours>[0-9]{1,6})H)?(?:(?P<minutes>[0-9]{1,6})M)?(?:(?P<seconds>[0-9]{1,6})S)?)?)"
)
Moment = TypeVar("Moment", date, datetime)
_YEAR_END = re.compile(r"end_of_financial_year:(?P<month>[0-9]{2})-(?P<day>[0-9]{2})")


@dataclass(frozen=True, slots=True)
class Period:
    """A length of time; years, months and days are nominal (calendar), seconds are exact."""

    years: int = 0
    months: int = 0
    days: int = 0
    seconds: int = 0

    @property
    def is_zero(self) -> bool:
        return not (self.years or self.months or self.days or self.seconds)


def parse_duration(text: str, *, allow_zero: bool = False) -> Period:
    """Read an ISO 8601 duration: whole numbers, capitals, no sign, weeks alone. Raises Invalid.

    Zero is refused unless asked for, because a retention period of nothing forgets at once, and a slip
    of the pen must not do that.
    """
    found = _SHAPE.fullmatch(text) if len(text) <= 60 else None
    if found is None:
        raise Invalid(
            f"{text[:60]!r} is not a period",
            "Write it like P30D (days), P4W (weeks), P6M (months), P2Y (years) or PT36H (hours).",
        )
    n = {name: int(digits or 0) for name, digits in found.groupdict().items()}
    period = Period(
        years=n["years"],
        months=n["months"],
        days=n["days"] + 7 * n["weeks"],
        seconds=3600 * n["hours"] + 60 * n["minutes"] + n["seconds"],
    )
    if period.is_zero and not allow_zero:
        raise Invalid(f"The period {text!r} is zero", "Give one that lasts at least a second.")
    return period


def add(start: Moment, period: Period, *, zone_name: str = "UTC") -> Moment:
    """The day, or the aware instant (given back in UTC), one period later. Raises Invalid.

    Years and months first, clamped to the end of the month, then days, then exact seconds (W3C XML
    Schema Part 2, Appendix E, from memory; RFC 5545 3.3.6: days follow the wall clock of `zone_name`).
    """
    return _shift(start, period, sign=1, zone_name=zone_name)


def before(end: Moment, period: Period, *, zone_name: str = "UTC") -> Moment:
    """The day, or the aware instant (given back in UTC), one period earlier; same order, same rules."""
    return _shift(end, period, sign=-1, zone_name=zone_name)


def runs_out(event: date, period: Period, *, anchor: str = "event") -> date:
    """First day on which what was kept since `event` need not be kept any more. Raises Invalid.

    `anchor` is "event", "end_of_calendar_year" or "end_of_financial_year:MM-DD" (its last day): with an
    anchor the period starts on the day after the year in which the event fell.
    """
    return add(_anchored(event, anchor), period)


def _anchored(event: date, anchor: str) -> date:
    if anchor == "event":
        return event
    if anchor == "end_of_calendar_year":
        return date(event.year + 1, 1, 1)
    found = _YEAR_END.fullmatch(anchor)
    month, day = (int(found["month"]), int(found["day"])) if found else (0, 0)
    if not (1 <= month <= 12 and 1 <= day <= calendar.monthrange(2000, month)[1]):
        raise Invalid(
            f"{anchor[:60]!r} is not an anchor for a period",
            "Use event, end_of_calendar_year or end_of_financial_year:MM-DD.",
        )
    ends = _clamped(event.year, month, day)
    if ends < event:
        ends = _clamped(event.year + 1, month, day)
    return ends + timedelta(days=1)


def _shift(start: Moment, period: Period, *, sign: int, zone_name: str) -> Moment:
    try:
        if isinstance(start, datetime):
            tz = zone(zone_name)
            there = need_aware(start).astimezone(tz)
            day = _shift_day(there.date(), period, sign)
            moved = there if day == there.date() else instant(datetime.combine(day, there.time()), tz, fold=there.fold)
            return need_aware(moved) + sign * timedelta(seconds=period.seconds)
        if period.seconds:
            raise Invalid("Hours cannot be added to a day", "Give the period in days, months or years.")
        return _shift_day(start, period, sign)
    except (OverflowError, ValueError) as wrong:
        raise Invalid("The period reaches past the calendar", "Give a shorter one.") from wrong


def _shift_day(day: date, period: Period, sign: int) -> date:
    months = day.year * 12 + day.month - 1 + sign * (period.years * 12 + period.months)
    return _clamped(months // 12, months % 12 + 1, day.day) + sign * timedelta(days=period.days)


def _clamped(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, calendar.monthrange(year, month)[1]))

"""Legal deadlines in working days or calendar months, counted without the day of receipt."""

from __future__ import annotations

from collections.abc import Container
from datetime import date, timedelta

from notify.core.durations import Period, add
from notify.core.errors import Invalid

_SATURDAY = 5
_LONGEST = 1000


def business_days_after(received: date, count: int, *, holidays: Container[date]) -> date:
    """Last day of a deadline of `count` working days; the day of receipt is not counted. Raises Invalid.

    47 CFR 64.1200(a)(10) gives ten business days to honour a revocation; not counting the first day is
    the usual reading (policy).
    """
    if not 1 <= count <= _LONGEST:
        raise Invalid(f"A deadline of {count} working days cannot be counted", f"Use 1 to {_LONGEST}.")
    day = received
    for _ in range(count):
        day = next_business_day(day + timedelta(days=1), holidays=holidays)
    return day


def months_after(received: date, months: int, *, holidays: Container[date]) -> date:
    """Last day of a deadline in months, moved to the next working day (Reg. 1182/71 art. 3, from memory)."""
    return next_business_day(add(received, Period(months=months)), holidays=holidays)


def next_business_day(day: date, *, holidays: Container[date]) -> date:
    """That day, or the first one after it that is neither at a weekend nor a holiday."""
    while day.weekday() >= _SATURDAY or day in holidays:
        day += timedelta(days=1)
    return day

"""One line of a shop's history: kind, minutes and day of a finished repair, read from text. Reasons never quote it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from hashlib import blake2b
from zoneinfo import ZoneInfo

from notify.core.errors import Invalid
from notify.core.hours import Counter, spans_on
from notify.core.instants import instant, need_aware
from notify.core.past_jobs import LEAST, MOST, is_believed

# Our names of the columns: `kind` and `ended`, with either of the others. More columns are not looked at.
KIND, MINUTES, STARTED, ENDED = "kind", "minutes", "started", "ended"
ORDERS = ("iso", "dmy", "mdy")  # 2026-11-25, 25.11.2026, 11/25/2026
FIRST_YEAR = 1980  # of a job that can be meant
_AHEAD = timedelta(days=1)  # another clock may run before ours, and noon of today may lie ahead
_LONGEST = timedelta(days=60)  # between beginning and end of one piece of work
_NOON = time(12)
_NUMBER = re.compile(r"[0-9]{1,6}(?:[.,][0-9]{1,6})?")
_LOCAL = re.compile(r"([0-9]{1,2})[./-]([0-9]{1,2})[./-]([0-9]{4})(?:[ T]+([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?)?")
_LONGEST_TEXT = 40


@dataclass(frozen=True, slots=True)
class When:
    """An instant; `is_day`: only the day was named, and its noon is meant."""

    at: datetime
    is_day: bool


class Reader:
    """Reads cells as one shop writes them: its zone, its order of day and month, its opening hours."""

    def __init__(self, counter: Counter, tz: ZoneInfo, *, now: datetime, dates: str = "iso") -> None:
        """Raises Invalid for an order of dates that is not known."""
        if dates not in ORDERS:
            raise Invalid("That order of day and month is not known", f"Use one of: {', '.join(ORDERS)}.",
                          field="dates")  # fmt: skip
        self._counter, self._tz, self._latest, self._dates = counter, tz, now + _AHEAD, dates
        self._days: dict[date, tuple[tuple[datetime, datetime], ...]] = {}

    def minutes(self, text: str) -> float:
        """A number of minutes that can be meant. Raises Invalid."""
        plain = text.strip()
        if not _NUMBER.fullmatch(plain):
            raise Invalid("minutes: these are no minutes", "Write it as 45 or 45.5.", field=MINUTES)
        return _believed(float(plain.replace(",", ".")))

    def when(self, text: str, field: str) -> When:
        """The time of a cell by the shop's clock, unless it names its own offset. Raises Invalid."""
        plain = text.strip()
        wall, is_day = self._iso(plain, field) if self._dates == "iso" else self._local(plain, field)
        at = need_aware(wall, field=field) if wall.tzinfo else instant(wall, self._tz)
        if at > self._latest:
            raise Invalid(f"{field}: that time lies ahead", "Look at the year once more.", field=field)
        return When(at, is_day)

    def between(self, started: When, ended: When) -> float:
        """Minutes of work from beginning to end: by the clock within one day, else those in which the shop is open."""
        if started.is_day or ended.is_day:
            raise Invalid("started and ended need a time of day", "Or give the minutes.", field=STARTED)
        if not timedelta(0) < ended.at - started.at <= _LONGEST:
            raise Invalid("ended is not after started, or months later", "Correct the two times.", field=ENDED)
        first, last = (one.at.astimezone(self._tz).date() for one in (started, ended))
        if first == last:
            return _believed((ended.at - started.at).total_seconds() / 60)
        days = (first + timedelta(days=ahead) for ahead in range((last - first).days + 1))
        inside = (min(ended.at, end) - max(started.at, start) for day in days for start, end in self._open_on(day))
        return _believed(sum(max(0.0, one.total_seconds()) for one in inside) / 60)

    def _open_on(self, day: date) -> tuple[tuple[datetime, datetime], ...]:
        """The open spans of one day, worked out once: a file may name each day ten thousand times."""
        if day not in self._days:
            self._days[day] = tuple((span.start_utc, span.end_utc) for span in spans_on(self._counter, day))
        return self._days[day]

    def _iso(self, text: str, field: str) -> tuple[datetime, bool]:
        try:
            if len(text) > _LONGEST_TEXT or not text[:4].isdecimal():
                raise ValueError
            return _dated(datetime.fromisoformat(text), is_day=len(text) <= 10 and ":" not in text)
        except (ValueError, OverflowError):
            raise Invalid(f"{field}: this is no day", "Write it as 2026-11-25 or 2026-11-25 14:30.",
                          field=field) from None  # fmt: skip

    def _local(self, text: str, field: str) -> tuple[datetime, bool]:
        found = _LOCAL.fullmatch(text[:_LONGEST_TEXT])
        try:
            if not found:
                raise ValueError
            day, month = (found[1], found[2]) if self._dates == "dmy" else (found[2], found[1])
            clock = time(int(found[4] or 0), int(found[5] or 0), int(found[6] or 0))
            wall = datetime.combine(date(int(found[3]), int(month), int(day)), clock)
            return _dated(wall, is_day=found[4] is None)
        except ValueError:
            example = "25.11.2026 14:30" if self._dates == "dmy" else "11/25/2026 14:30"
            raise Invalid(f"{field}: this is no day", f"Write it as {example}.", field=field) from None


def digest(kind: str, minutes: float, ended: When, nth: int) -> str:
    """What tells a line from every other: the `nth` of its file that says the same.

    Two lines that name the same minute of a day are one job twice; of two that name only the day, each is a job.
    """
    which = f"{nth}" if ended.is_day else "at"
    return blake2b(f"{kind}\n{minutes!r}\n{ended.at.isoformat()}\n{which}".encode(), digest_size=20).hexdigest()


def _believed(minutes: float) -> float:
    if not is_believed(minutes):
        raise Invalid(f"a repair takes {LEAST:g} to {MOST:g} minutes of work", "Correct or leave out this line.",
                      field=MINUTES)  # fmt: skip
    return minutes


def _dated(moment: datetime, *, is_day: bool) -> tuple[datetime, bool]:
    if moment.year < FIRST_YEAR:
        raise ValueError(moment.year)
    return (datetime.combine(moment.date(), _NOON), True) if is_day else (moment, False)

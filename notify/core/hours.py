"""When the counter is open: dated weekly rows, closed days and special days turned into spans of UTC time."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from notify.core.errors import Invalid
from notify.core.instants import first_instant, instant, need_aware, zone

MIDNIGHT = time(0)
_DAY = timedelta(days=1)
_LOOK_AHEAD = 400


@dataclass(frozen=True, slots=True)
class Hours:
    """One opening span on a weekday (0 is Monday), from `valid_from` until `valid_until` included.

    Closing at 00:00 means the end of that day. `capacity` is customers per slot; 0 is open without pickups.
    """

    weekday: int
    opens: time
    closes: time
    capacity: int
    valid_from: date
    valid_until: date | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.weekday <= 6:
            raise Invalid(f"Weekday {self.weekday} does not exist", "Use 0 (Monday) to 6.", field="weekday")
        if self.valid_until is not None and self.valid_until < self.valid_from:
            raise Invalid("Opening hours end before they begin", "Correct the dates.", field="valid_until")
        _check_span(self.opens, self.closes, self.capacity)


@dataclass(frozen=True, slots=True)
class SpecialDay:
    """One opening span on one date, instead of the weekly rows; several of them are several spans."""

    day: date
    opens: time
    closes: time
    capacity: int

    def __post_init__(self) -> None:
        _check_span(self.opens, self.closes, self.capacity)


@dataclass(frozen=True, slots=True)
class Counter:
    """A shop's counter: its zone, its dated hours, and how pickups are cut and offered.

    The shop's own list wins: a closed day is closed, special hours open a holiday, and so does a day `as_usual`.
    """

    zone: str
    hours: tuple[Hours, ...]
    closed: frozenset[date] = frozenset()
    special: tuple[SpecialDay, ...] = ()
    slot_minutes: int = 15
    lead_minutes: int = 0
    horizon_days: int = 14
    holidays: Container[date] = frozenset()
    as_usual: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        zone(self.zone)
        if not 1 <= self.slot_minutes <= 24 * 60:
            raise Invalid("A slot lasts from 1 minute to a day", "Correct it.", field="slot_minutes")
        if self.lead_minutes < 0 or not 0 <= self.horizon_days <= _LOOK_AHEAD:
            raise Invalid(
                "Lead time or horizon of pickups is out of range",
                f"Lead from 0 minutes, horizon from 0 to {_LOOK_AHEAD} days.",
                field="horizon_days",
            )
        for weekday, valid_from in {(row.weekday, row.valid_from) for row in self.hours}:
            _check_apart([r for r in self.hours if (r.weekday, r.valid_from) == (weekday, valid_from)])
        for day in {row.day for row in self.special}:
            _check_apart([row for row in self.special if row.day == day])


@dataclass(frozen=True, slots=True)
class Span:
    """Open from `start_utc` until before `end_utc`."""

    start_utc: datetime
    end_utc: datetime
    capacity: int


def rows_on(counter: Counter, day: date) -> tuple[Hours | SpecialDay, ...]:
    """The rows of that local date in order: none if closed, else its special ones, else the newest weekly."""
    if day in counter.closed:
        return ()
    rows: list[Hours | SpecialDay] = [row for row in counter.special if row.day == day]
    if not rows and (day in counter.as_usual or day not in counter.holidays):
        rows = [*_weekly(counter, day)]
    return tuple(sorted(rows, key=lambda row: row.opens))


def spans_on(counter: Counter, day: date) -> tuple[Span, ...]:
    """The spans of one local date.

    An opening time that comes twice is its first occurrence, a closing time that comes twice its last;
    one that is skipped is the instant of the jump. Midnight at the end is where the next date begins.
    """
    return tuple(span for span, _ in spans_with_rows(counter, day))


def spans_with_rows(counter: Counter, day: date) -> Iterator[tuple[Span, Hours | SpecialDay]]:
    """The spans of one local date, each with the row that it came from."""
    tz = zone(counter.zone)
    free_from = first_instant(day, tz)
    for row in rows_on(counter, day):
        start = max(free_from, instant(datetime.combine(day, row.opens), tz))
        end = _closing(day, row.closes, tz)
        if start < end:
            yield Span(start, end, row.capacity), row
            free_from = end


def open_spans(counter: Counter, first: date, last: date) -> tuple[Span, ...]:
    """All spans of the local dates from `first` to `last` included, in order and never overlapping."""
    days = (first + ahead * _DAY for ahead in range((last - first).days + 1))
    return tuple(span for day in days for span in spans_on(counter, day))


def is_open(counter: Counter, moment: datetime) -> bool:
    """Whether the counter is open at that instant; at the closing instant it is not. Raises Invalid."""
    at = need_aware(moment)
    today = at.astimezone(zone(counter.zone)).date()
    return any(span.start_utc <= at < span.end_utc for span in spans_on(counter, today))


def next_opening(counter: Counter, moment: datetime) -> datetime | None:
    """`moment` itself (UTC) while open, else the next opening instant; None if there is none in 400 days."""
    at = need_aware(moment)
    today = at.astimezone(zone(counter.zone)).date()
    for ahead in range(_LOOK_AHEAD):
        for span in spans_on(counter, today + ahead * _DAY):
            if at < span.end_utc:
                return max(at, span.start_utc)
    return None


def _weekly(counter: Counter, day: date) -> list[Hours]:
    valid = [
        row
        for row in counter.hours
        if row.weekday == day.weekday()
        and row.valid_from <= day
        and (row.valid_until is None or day <= row.valid_until)
    ]
    newest = max((row.valid_from for row in valid), default=None)
    return [row for row in valid if row.valid_from == newest]


def _closing(day: date, closes: time, tz: ZoneInfo) -> datetime:
    if closes == MIDNIGHT:
        return first_instant(day + _DAY, tz)
    return instant(datetime.combine(day, closes), tz, fold=1)


def _check_span(opens: time, closes: time, capacity: int) -> None:
    if closes != MIDNIGHT and closes <= opens:
        raise Invalid(
            f"Closing at {closes:%H:%M} is not after opening at {opens:%H:%M}",
            "For hours past midnight give two days: one until 00:00, one from 00:00.",
            field="closes",
        )
    if not 0 <= capacity <= 1000:
        raise Invalid("Customers per slot must be 0 to 1000", "0 means open, no pickups.", field="capacity")


def _check_apart(rows: Iterable[Hours | SpecialDay]) -> None:
    for early, late in pairwise(sorted(rows, key=lambda row: row.opens)):
        if early.closes == MIDNIGHT or late.opens < early.closes:
            raise Invalid(
                f"The opening from {late.opens:%H:%M} begins before the one from {early.opens:%H:%M} ends",
                "Give spans that do not overlap.",
                field="opens",
            )

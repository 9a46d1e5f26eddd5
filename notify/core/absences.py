"""When whoever repairs is not here, never why: from what is typed to instants, and what is left of the open time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

from notify.core.errors import Invalid
from notify.core.instants import first_instant, instant, zone

T = TypeVar("T", float, datetime)
# An absence further ahead, or longer, is a slip of the pen. Our choice.
AHEAD = LENGTH = timedelta(days=366)
_DAY = timedelta(days=1)


def parse_bound(text: str, zone_name: str, *, field: str, last: bool = False) -> datetime:
    """UTC instant of "2026-12-01" or "2026-12-01T13:00" on the shop's clock; raises Invalid.

    A day alone begins with its first instant; as the `last` one it is away to its end.
    """
    clean, tz = text.strip(), zone(zone_name)
    try:
        if len(clean) <= len("2026-12-01"):
            day = date.fromisoformat(clean)
            return first_instant(day + _DAY if last else day, tz)
        wall = datetime.fromisoformat(clean)
        return instant(wall, tz) if wall.tzinfo is None else wall.astimezone(UTC)
    except (ValueError, OverflowError, Invalid):
        what = f"{clean[:40]!r} is no day" if clean else "A day is missing"
        raise Invalid(what, "Write it as 2026-12-01, or with a time as 2026-12-01T13:00.", field=field) from None


def check_period(starts: datetime, ends: datetime, *, now: datetime) -> None:
    """Raises Invalid for an absence that ends before it begins, is over already, or cannot be meant."""
    if ends <= starts:
        raise Invalid("The absence ends before it begins", "Look at both days again.", field="until")
    if ends <= now:
        raise Invalid("That absence is over already", "Only what is still to come changes a forecast.", field="until")
    if starts - now > AHEAD or ends - starts > LENGTH:
        raise Invalid("An absence that far ahead, or that long, cannot be meant", "Look at the year.", field="until")


def present(spans: Sequence[tuple[T, T]], away: Iterable[tuple[T, T]]) -> list[tuple[T, T]]:
    """The open spans without the absences, which may overlap and come in any order; spans in order, disjoint."""
    left = list(spans)
    for starts, ends in away:
        left = [
            piece
            for opens, closes in left
            for piece in ((opens, min(closes, starts)), (max(opens, ends), closes))
            if piece[0] < piece[1]
        ]
    return left


def days_without(
    spans: Iterable[tuple[datetime, datetime]], away: Sequence[Sequence[tuple[datetime, datetime]]], zone_name: str
) -> tuple[date, ...]:
    """The local dates with open time on which nobody of these people is here at any time of it.

    `away` holds the absences of each person at the bench; without a person every open day is such a day.
    """
    tz, found = zone(zone_name), dict[date, bool]()
    for span in spans:
        day = span[0].astimezone(tz).date()
        found[day] = found.get(day, False) or any(present([span], gaps) for gaps in away)
    return tuple(day for day, manned in found.items() if not manned)


def whole_days(starts: datetime, ends: datetime, zone_name: str) -> tuple[date, date] | None:
    """First and last day of an absence of whole days; None when it begins or ends within a day."""
    tz = zone(zone_name)
    first, last = starts.astimezone(tz).date(), (ends - timedelta(microseconds=1)).astimezone(tz).date()
    whole = first_instant(first, tz) == starts and first_instant(last + _DAY, tz) == ends
    return (first, last) if whole else None


def typed(day: str, at: str) -> str:
    """A day and a time of a form as parse_bound takes them; without a time the day alone."""
    return f"{day.strip()}T{at.strip()}" if at.strip() else day.strip()

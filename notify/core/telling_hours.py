"""Telling hours: the hours of each weekday in which somebody may be written to, as a shop writes them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time
from functools import lru_cache
from itertools import pairwise

from notify.core.errors import Invalid

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_SECONDS = 24 * 3600
EXAMPLE = "mon-sat 08:00-21:00; sun 10:00-20:00"
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])|24:00")
_DASHES = str.maketrans("\u2013\u2014", "--")  # what keyboards of telephones write for a hyphen
Spans = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Week:
    """For each weekday (0 is Monday) the spans of awake time, in seconds since midnight, end not included."""

    days: tuple[Spans, ...]

    def is_awake(self, wall: datetime) -> bool:
        """Whether that wall clock shows an hour at which somebody may be written to."""
        second = wall.hour * 3600 + wall.minute * 60 + wall.second
        return any(start <= second < end for start, end in self.days[wall.weekday()])

    def starts(self, weekday: int) -> tuple[time, ...]:
        """The wall times of that weekday at which an awake span begins."""
        return tuple(_clock(start) for start, _ in self.days[weekday])


def _clock(second: int) -> time:
    return time(second // 3600, second // 60 % 60, second % 60)


ALWAYS = Week((((0, DAY_SECONDS),),) * 7)


def week_around(quiet_from: time, quiet_until: time) -> Week:
    """The same every day: awake outside [quiet_from, quiet_until); equal times mean always awake."""
    start, end = _seconds(quiet_until), _seconds(quiet_from)
    if start == end:
        return ALWAYS
    return _week([(day, start, end) for day in range(7)])


def _seconds(clock: time) -> int:
    return clock.hour * 3600 + clock.minute * 60 + clock.second


def _week(spans: list[tuple[int, int, int]]) -> Week:
    """Spans of (weekday, start, end) as days; one that ends at or before its start goes on into the next day."""
    days: list[list[tuple[int, int]]] = [[] for _ in range(7)]
    for day, start, end in spans:
        if start < end:
            days[day].append((start, end))
            continue
        days[day].append((start, DAY_SECONDS))
        if end > 0:
            days[(day + 1) % 7].append((0, end))
    for day, found in enumerate(days):
        found.sort()
        if any(later < end for (_, end), (later, _) in pairwise(found)):
            raise _wrong(f"Two spans overlap on {WEEKDAYS[day]}", "Join them into one.")
    return Week(tuple(tuple(found) for found in days))


@lru_cache(maxsize=256)
def parse_week(text: str) -> Week:
    """`EXAMPLE` as a week. Raises Invalid that names what cannot be read.

    Rules are parted by semicolons; each is weekdays (`mon`, `mon-fri`, `sat,sun`), a space, and spans (`08:00-12:00`,
    several by commas). A span that ends at or before its start goes on past midnight. A day not named has none.
    """
    plain = text.lower().translate(_DASHES)
    rules = [rule.split() for rule in plain.split(";") if rule.strip()]
    if not rules:
        raise _wrong("No telling hours are written", f"Write them like: {EXAMPLE}.")
    spans: list[tuple[int, int, int]] = []
    for words in rules:
        spans += _rule(words, named={day for day, _, _ in spans})
    return _week(spans)


def _rule(words: list[str], *, named: set[int]) -> list[tuple[int, int, int]]:
    if len(words) < 2:
        raise _wrong(f"{' '.join(words)!r} has no days or no hours", f"Write it like: {EXAMPLE}.")
    days = [day for part in words[0].split(",") for day in _days(part)]
    twice = [day for day in days if day in named or days.count(day) > 1]
    if twice:
        raise _wrong(f"{WEEKDAYS[twice[0]]} is named twice", "Put all its hours into one rule, with commas.")
    hours = [_span(part) for part in "".join(words[1:]).split(",")]
    return [(day, start, end) for day in days for start, end in hours]


def _days(part: str) -> list[int]:
    """The weekdays of `mon`, or of `fri-mon`, which goes round the weekend."""
    first, dash, last = part.partition("-")
    for name in (first, last) if dash else (first,):
        if name not in WEEKDAYS:
            raise _wrong(f"{name[:20]!r} is no weekday", f"Use {', '.join(WEEKDAYS)}.")
    start = WEEKDAYS.index(first)
    length = (WEEKDAYS.index(last) - start) % 7 if dash else 0
    return [(start + ahead) % 7 for ahead in range(length + 1)]


def _span(part: str) -> tuple[int, int]:
    """Seconds from and until; 24:00 (ISO 8601-1: the end of a day) may stand at the end."""
    start, dash, end = part.partition("-")
    if not (dash and _CLOCK.fullmatch(start) and _CLOCK.fullmatch(end)) or start == "24:00":
        raise _wrong(f"{part[:20]!r} is no span of hours", "Write it like 08:00-21:00, with four digits each.")
    if start == end:
        raise _wrong(f"{part[:20]!r} begins when it ends", "Write 00:00-24:00 for the whole day.")
    return _from_text(start), _from_text(end) % DAY_SECONDS


def _from_text(clock: str) -> int:
    return int(clock[:2]) * 3600 + int(clock[3:]) * 60


def _wrong(what: str, advice: str) -> Invalid:
    return Invalid(f"{what} in the telling hours", advice, field="telling_hours")

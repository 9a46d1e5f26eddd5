"""Days and times as people say them, in the reader's language and the shop's zone."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_time

from notify.core.languages import locale_of

# Babel writes narrow and no-break spaces that would double the price of a text message.
_SPACES = str.maketrans({"\u202f": " ", "\u00a0": " ", "\u2009": " "})
_DAY = {"en": "EEEE, d MMMM", "de": "EEEE, d. MMMM", "it": "EEEE d MMMM"}


def say_day(moment: datetime, *, zone: str, language: str) -> str:
    """Such as "Thursday, 26 November"."""
    local = moment.astimezone(ZoneInfo(zone))
    return format_date(local.date(), _DAY.get(language, _DAY["en"]), locale=locale_of(language)).translate(_SPACES)


def say_time(moment: datetime, *, zone: str, language: str) -> str:
    """Such as "17:30"; every language here writes the 24-hour clock."""
    local = moment.astimezone(ZoneInfo(zone))
    return format_time(local.time(), "HH:mm", locale=locale_of(language)).translate(_SPACES)


def say_month(day: date, *, language: str) -> str:
    """Such as "November 2026"."""
    return format_date(day, "LLLL y", locale=locale_of(language)).translate(_SPACES)

"""Fields of forms as browsers send them, read into what flows take; what cannot be read says which field."""

from __future__ import annotations

from datetime import date, datetime, time

from notify.core.errors import Invalid
from notify.core.instants import instant, zone
from notify.web.say import Say

LAST_PAGE = 10_000


def page_number(text: str) -> int:
    """Which page of a list an address asks for: the first where it names none."""
    return max(1, min(int(text), LAST_PAGE)) if text.isascii() and text.isdigit() and len(text) < 6 else 1


def moment(text: str, say: Say, *, field: str) -> datetime | None:
    """A datetime-local value as an instant of the shop's wall clock; None when empty. Raises Invalid."""
    if not text.strip():
        return None
    try:
        wall = datetime.fromisoformat(text.strip()[:16])
        return instant(wall.replace(tzinfo=None), zone(say.zone))
    except (ValueError, Invalid):
        raise Invalid("This is no day and time", "Choose both in the field.", field=field) from None


def day(text: str, *, field: str) -> date | None:
    """A date value; None when empty. Raises Invalid."""
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Invalid("This is no day", "Choose it in the field, like 2026-11-25.", field=field) from None


def clock(text: str, *, field: str) -> time | None:
    """A time value; None when empty. Raises Invalid."""
    if not text.strip():
        return None
    try:
        return time.fromisoformat(text.strip()).replace(tzinfo=None)
    except ValueError:
        raise Invalid("This is no time", "Write it like 17:00.", field=field) from None


def whole(text: str, *, field: str, most: int = 10_000) -> int:
    """A whole number of at least 0. Raises Invalid."""
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit()) or len(plain) > 9 or int(plain) > most:
        raise Invalid(f"This is no whole number from 0 to {most}", "Write digits only.", field=field)
    return int(plain)

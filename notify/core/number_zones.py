"""The time zones in which the owner of a phone number may be."""

from __future__ import annotations

import phonenumbers
from phonenumbers import NumberParseException
from phonenumbers.timezone import (
    UNKNOWN_TIMEZONE,
    time_zones_for_geographical_number,
    time_zones_for_number,
)

from notify.core.errors import Invalid
from notify.core.instants import zone


def zones_of(e164: str) -> tuple[str, ...]:
    """IANA names, sorted; empty where the data know none. `e164` is a number with its plus.

    The data are libphonenumber's: a mobile number of a vast country may be in all of its zones, a number that begins
    with a town's code in that town's. A guess at best (people move and keep their number), so these zones are asked
    beside the shop's own, never instead of it.
    """
    try:
        number = phonenumbers.parse(e164, None)
    except NumberParseException:
        return ()
    # Numbers that nobody has (those set aside for drama, too) are judged by their beginning alone.
    found = _known(time_zones_for_number(number)) or _known(time_zones_for_geographical_number(number))
    return tuple(sorted(found))


def _known(names: tuple[str, ...]) -> list[str]:
    """Without those that our zone data do not have: the two sets of data are not of one day."""
    return [name for name in names if name != UNKNOWN_TIMEZONE and _exists(name)]


def _exists(name: str) -> bool:
    try:
        zone(name)
    except Invalid:
        return False
    return True

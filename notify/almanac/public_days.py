"""Public holidays from the package `holidays`, an extra; without it the shop is told, and no day is one."""

from __future__ import annotations

import importlib.util
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from types import MappingProxyType

from notify.core.errors import Invalid

# The package follows the machine's own language unless told; the pages of a shop are in English.
LANGUAGE = "en_US"
_NONE: Mapping[date, str] = MappingProxyType({})


class PublicDays:
    """What the package says. It is no official list (for England it has 26 December 2026, which gov.uk has not): the
    shop's own days win over it.
    """

    def check(self, place: str) -> str:
        """The place in capitals; raises Invalid."""
        if silent := self.why_silent():
            raise Invalid("Public holidays cannot be looked up here", silent, field="holidays_of")
        written = place.strip().upper()
        if _read(written, 2026) is None:
            raise Invalid(
                f"The public holidays of {place[:20]!r} are not known",
                "Write a country and, where it matters, its part, as in GB-ENG, DE-BY or IT.",
                field="holidays_of",
            )
        return written

    def days(self, place: str, year: int) -> Mapping[date, str]:
        """The holidays of a year, each with its name in English."""
        return (_read(place, year) if not self.why_silent() else None) or _NONE

    def why_silent(self) -> str:
        """What is missing, and how to get it."""
        if importlib.util.find_spec("holidays") is not None:
            return ""
        return "Install the extra once: pip install 'shelfbell[holidays]'. Until then note such days by hand."


@lru_cache(maxsize=64)
def _read(place: str, year: int) -> Mapping[date, str] | None:
    """None for a place that the package does not know."""
    import holidays  # an extra, and a tenth of a second to load

    country, _, part = place.partition("-")
    try:
        found = holidays.country_holidays(country, subdiv=part or None, years=year, language=LANGUAGE)
    except NotImplementedError:
        return None
    return MappingProxyType({day: str(name) for day, name in sorted(found.items())})

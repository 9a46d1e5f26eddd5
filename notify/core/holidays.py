"""Public holidays as the rest of the house sees them: a place, a day, a name; who knows them stands elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Protocol


class Almanac(Protocol):
    """Knows the public holidays of places such as "GB-ENG" or "IT" (ISO 3166, country and part of it)."""

    def check(self, place: str) -> str:
        """The place as it is written; raises Invalid for one that is not known, and while none can be known."""

    def days(self, place: str, year: int) -> Mapping[date, str]:
        """The holidays of a year with their names; none for a place that is not known."""

    def why_silent(self) -> str:
        """A sentence for the shop when no place can be known, with what to do; else empty."""


@dataclass(frozen=True, slots=True)
class HolidaysOf:
    """Answers `day in ...` for one place, whatever the year."""

    place: str
    almanac: Almanac

    def __contains__(self, day: object) -> bool:
        return isinstance(day, date) and day in self.almanac.days(self.place, day.year)


class NoAlmanac:
    """An almanac without a holiday in it, for whoever sets none up."""

    def check(self, place: str) -> str:
        """Any place will do."""
        return place

    def days(self, place: str, year: int) -> Mapping[date, str]:
        """None."""
        return {}

    def why_silent(self) -> str:
        """Nobody asked for holidays."""
        return ""

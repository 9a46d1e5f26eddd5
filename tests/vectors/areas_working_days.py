"""Adapter for working days and holidays: numpy's documented examples, and the lists of gov.uk, through our almanac."""

from __future__ import annotations

from datetime import date, time, timedelta
from typing import Any

from notify.almanac.public_days import PublicDays
from notify.core.holidays import HolidaysOf
from notify.core.hours import Counter, Hours, rows_on
from notify.core.working_days import WorkingDays, count, nearest, shifted

Given = dict[str, Any]
NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
PLACES = {"england-and-wales": "GB-ENG", "scotland": "GB-SCT"}
# Where gov.uk moves a holiday off a weekend, the package lists the day itself beside its substitute: a shop that is
# open then says so once for each ("We are open"), and its own list wins. Everything else is the same.
OPEN_ANYWAY = {
    ("GB-ENG", 2026): ("2026-12-26",), ("GB-SCT", 2026): ("2026-12-26",),
    ("GB-ENG", 2027): ("2027-12-25", "2027-12-26"),
    ("GB-ENG", 2028): ("2028-01-01",), ("GB-SCT", 2028): ("2028-01-01", "2028-01-02"),
}  # fmt: skip


def business_days(given: list[list[Any]], expect: list[str]) -> None:
    """Offsets after rolling to a working day; rows of two are the n-th working day after, in England."""
    found = [_offset(*row) if len(row) == 4 else _after(*row) for row in given]
    assert [day.isoformat() for day in found] == expect


def _offset(day: str, number: int, roll: str, mask: str) -> date:
    working = WorkingDays(_mask(mask))
    return shifted(working, nearest(working, date.fromisoformat(day), back=roll == "backward"), number)


def _after(day: str, number: int) -> date:
    return shifted(WorkingDays(holidays=HolidaysOf("GB-ENG", PublicDays())), date.fromisoformat(day), number)


def counts(given: list[list[str]], expect: list[int]) -> None:
    """Working days from the first day until before the second."""
    found = [count(WorkingDays(_mask(mask)), *map(date.fromisoformat, days)) for *days, mask in given]
    assert found == expect


def _mask(mask: str) -> str:
    return mask if len(mask) == 7 else "".join("1" if name == mask else "0" for name in NAMES)


def holidays(given: Given, expect: list[str]) -> None:
    """The days of a year on which a shop that opens every day of the week stays shut by its place's holidays."""
    place = PLACES.get(given.get("region", "")) or given["country"]
    open_anyway = OPEN_ANYWAY.get((place, given["year"]), ())
    assert _shut(place, given["year"], open_anyway) == sorted(expect)
    assert _shut(place, given["year"], ()) == sorted([*expect, *open_anyway]), "the package alone"


def _shut(place: str, year: int, open_anyway: tuple[str, ...]) -> list[str]:
    daily = tuple(
        Hours(weekday=day, opens=time(9), closes=time(18), capacity=1, valid_from=date(2020, 1, 1)) for day in range(7)
    )
    counter = Counter(
        zone="Europe/London", hours=daily, holidays=HolidaysOf(place, PublicDays()),
        as_usual=frozenset(map(date.fromisoformat, open_anyway)),
    )  # fmt: skip
    days = (date(year, 1, 1) + timedelta(days=ahead) for ahead in range(366))
    return [day.isoformat() for day in days if day.year == year and not rows_on(counter, day)]


AREAS = {"business-days": business_days, "business-day-count": counts, "holidays": holidays}

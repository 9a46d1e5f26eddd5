"""Absences typed by a person, what they leave of the open time, and days on which nobody is at the bench."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from notify.core.absences import check_period, days_without, parse_bound, present, typed, whole_days
from notify.core.errors import Invalid

LONDON, BERLIN = "Europe/London", "Europe/Berlin"
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "zone", "last", "told"),
    [
        ("2026-12-01", LONDON, False, "2026-12-01T00:00Z"),
        ("2026-12-01", LONDON, True, "2026-12-02T00:00Z"),
        (" 2026-12-01T13:00 ", LONDON, True, "2026-12-01T13:00Z"),
        ("2026-12-01T13:00", BERLIN, False, "2026-12-01T12:00Z"),
        ("2026-12-01T13:00+05:00", BERLIN, False, "2026-12-01T08:00Z"),
        # Berlin's clocks go forward on 28 March 2027 and back on 31 October 2027 (directive 2000/84/EC: last Sundays).
        ("2027-03-28", BERLIN, True, "2027-03-28T22:00Z"),
        ("2027-10-31", BERLIN, True, "2027-10-31T23:00Z"),
    ],
)
def test_a_day_is_away_from_its_first_instant_to_its_end(text: str, zone: str, last: bool, told: str) -> None:
    assert parse_bound(text, zone, field="from", last=last) == datetime.fromisoformat(told)


@pytest.mark.parametrize(
    "text", ["", "soon", "2026-02-30", "2026-12-01T25:00", "9999-12-31", "0000-01-01", "1.12.2026"]
)
def test_what_is_no_day_is_refused_with_its_field(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_bound(text, LONDON, field="until", last=True)
    assert refused.value.field == "until" and "2026-12-01" in refused.value.advice


@pytest.mark.parametrize(("starts", "ends"), [(1, 1), (2, 1), (-3, 0), (367, 368), (0, 367)])
def test_an_absence_that_is_over_or_cannot_be_meant_is_refused(starts: int, ends: int) -> None:
    with pytest.raises(Invalid):
        check_period(NOW + timedelta(days=starts), NOW + timedelta(days=ends), now=NOW)
    check_period(NOW - timedelta(days=1), NOW + timedelta(minutes=1), now=NOW)


@given(
    opening=st.lists(st.integers(0, 60), max_size=8, unique=True),
    gaps=st.lists(st.tuples(st.integers(-5, 65), st.integers(0, 30)), max_size=6),
)
def test_what_is_left_of_the_open_time_is_what_a_minute_by_minute_list_says(opening: Any, gaps: Any) -> None:
    """Second opinion: numpy's arrays of minutes, open and not away."""
    bounds = sorted(opening)[: len(opening) // 2 * 2]
    spans = list(zip(bounds[::2], bounds[1::2], strict=True))
    away = [(start, start + long) for start, long in gaps]
    minutes = np.arange(-10, 100)
    open_now = np.zeros(len(minutes), dtype=bool)
    for starts, ends in spans:
        open_now |= (minutes >= starts) & (minutes < ends)
    for starts, ends in away:
        open_now &= ~((minutes >= starts) & (minutes < ends))
    left = present([(float(a), float(b)) for a, b in spans], [(float(a), float(b)) for a, b in away])
    told = np.zeros(len(minutes), dtype=bool)
    for first, last in left:
        told |= (minutes >= first) & (minutes < last)
    assert (told == open_now).all() and all(a < b for a, b in left)


def test_a_day_is_without_anybody_only_if_all_are_away_for_all_of_it() -> None:
    def at(day: int, hour: int) -> datetime:
        return datetime(2026, 12, day, hour, tzinfo=UTC)

    spans = [(at(1, 9), at(1, 12)), (at(1, 13), at(1, 18)), (at(2, 9), at(2, 18)), (at(3, 9), at(3, 18))]
    ada, ben = [(at(1, 0), at(3, 12))], [(at(1, 9), at(1, 12)), (at(2, 8), at(2, 20))]
    assert days_without(spans, [ada, ben], LONDON) == (date(2026, 12, 2),)  # Ben is here on Tuesday afternoon
    assert days_without(spans, [ada], LONDON) == (date(2026, 12, 1), date(2026, 12, 2))
    assert len(days_without(spans, [], LONDON)) == 3 and days_without([], [], LONDON) == ()


def test_whole_days_are_known_from_times_within_a_day() -> None:
    starts = parse_bound(typed("2026-12-01", ""), BERLIN, field="from")
    ends = parse_bound(typed(" 2026-12-04", " "), BERLIN, field="until", last=True)
    assert whole_days(starts, ends, BERLIN) == (date(2026, 12, 1), date(2026, 12, 4))
    assert whole_days(starts, parse_bound(typed("2026-12-04", "12:00"), BERLIN, field="until"), BERLIN) is None

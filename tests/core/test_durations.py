"""Periods and deadlines, beside the cases of the vector file."""

from __future__ import annotations

from datetime import UTC, date, datetime

import isodate
import pytest
from hypothesis import given
from hypothesis import strategies as st

from notify.core.deadlines import business_days_after
from notify.core.durations import Period, add, before, parse_duration, runs_out
from notify.core.errors import Invalid

pytestmark = pytest.mark.usefixtures("tzdata_only")

COUNTS = st.integers(min_value=0, max_value=60)


@pytest.mark.parametrize(
    "text",
    ["P0D", "PT0S", "P0Y0M0D", "-P1D", "P1W2D", "P1DT", "P1D\n", "P٣D", "P1Y1Y", "PT1M1H", "P9999999D", "P1D" * 30],
)
def test_a_period_that_is_zero_negative_or_misspelt_is_refused(text: str) -> None:
    with pytest.raises(Invalid):
        parse_duration(text)


def test_zero_is_taken_only_where_it_was_asked_for() -> None:
    assert parse_duration("P0D", allow_zero=True).is_zero


def test_weeks_and_clock_parts_are_read() -> None:
    assert parse_duration("P4W") == Period(days=28)
    assert parse_duration("P1DT1H2M3S") == Period(days=1, seconds=3723)


@given(years=COUNTS, months=COUNTS, days=COUNTS, start=st.dates(min_value=date(1990, 1, 1), max_value=date(2100, 1, 1)))
def test_adding_agrees_with_an_independent_library(years: int, months: int, days: int, start: date) -> None:
    """isodate: years and months first, clamped to the month's end, then days."""
    text = f"P{years}Y{months}M{days}D"
    assert add(start, parse_duration(text, allow_zero=True)) == start + isodate.parse_duration(text)


def test_a_day_before_keeps_the_wall_time_and_24_hours_do_not() -> None:
    start = datetime(2026, 10, 25, 10, 0, tzinfo=UTC)
    a_day = before(start, parse_duration("P1D"), zone_name="Europe/London")
    assert a_day == datetime(2026, 10, 24, 9, 0, tzinfo=UTC)
    assert before(start, parse_duration("PT24H"), zone_name="Europe/London") == start.replace(day=24)


def test_hours_alone_never_move_the_second_of_two_equal_wall_times_to_the_first() -> None:
    second = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert add(second, Period(seconds=60), zone_name="Europe/London") == second.replace(minute=31)


def test_the_second_of_two_equal_wall_times_stays_the_second_a_year_of_weeks_later() -> None:
    second = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert add(second, Period(days=371), zone_name="Europe/London") == datetime(2027, 10, 31, 1, 30, tzinfo=UTC)


def test_hours_cannot_be_added_to_a_day_nor_a_period_to_a_naive_time() -> None:
    with pytest.raises(Invalid, match="Hours cannot be added"):
        add(date(2026, 1, 1), Period(seconds=1))
    with pytest.raises(Invalid, match="without a zone"):
        add(datetime(2026, 1, 1), Period(days=1))


def test_a_period_past_the_end_of_the_calendar_is_refused() -> None:
    with pytest.raises(Invalid, match="past the calendar"):
        add(date(2026, 1, 1), Period(years=9000))
    with pytest.raises(Invalid, match="past the calendar"):
        before(date(2026, 1, 1), Period(days=999_999))


@pytest.mark.parametrize("anchor", ["", "end_of_year", "end_of_financial_year:13-01", "end_of_financial_year:02-30"])
def test_an_unknown_anchor_is_refused(anchor: str) -> None:
    with pytest.raises(Invalid, match="anchor"):
        runs_out(date(2026, 1, 1), Period(days=1), anchor=anchor)


def test_a_financial_year_that_ends_on_29_february_ends_on_the_28th_of_other_years() -> None:
    anchor = "end_of_financial_year:02-29"
    assert runs_out(date(2027, 2, 28), Period(years=1), anchor=anchor) == date(2028, 3, 1)
    assert runs_out(date(2028, 2, 29), Period(years=1), anchor=anchor) == date(2029, 3, 1)


@pytest.mark.parametrize("count", [0, -1, 100_000])
def test_a_deadline_of_no_or_endless_working_days_is_refused(count: int) -> None:
    with pytest.raises(Invalid):
        business_days_after(date(2026, 11, 25), count, holidays=frozenset())

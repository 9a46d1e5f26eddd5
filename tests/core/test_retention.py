"""Rules of keeping: every kind of clock, exception and hold, written out by hand; periods beside python-dateutil."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.core.holds import review_day
from notify.core.retention import ALWAYS, DATA_CLASSES, Rule, check_rule, default_rule, ends_on, over_by, why_kept

CARD = default_rule("contact_card")
# Clock, period, day of the event -> first day on which it need not be kept: reckoned by hand on a calendar, in the
# sense of tests/vectors/messaging.json, area durations (d-22: "last day kept 31 Dec 2034, purge 1 Jan 2035").
CLOCKS = (
    ("event", "P90D", date(2026, 11, 28), date(2027, 2, 26)),
    ("event", "P1Y", date(2024, 2, 29), date(2025, 2, 28)),
    ("event", "P1M", date(2026, 1, 31), date(2026, 2, 28)),
    ("end_of_calendar_year", "P3Y", date(2026, 3, 10), date(2030, 1, 1)),
    ("end_of_calendar_year", "P3Y", date(2026, 12, 31), date(2030, 1, 1)),
    ("end_of_financial_year:03-31", "P6Y", date(2026, 3, 31), date(2032, 4, 1)),
    ("end_of_financial_year:03-31", "P6Y", date(2026, 4, 1), date(2033, 4, 1)),
    ("end_of_financial_year:02-29", "P1Y", date(2024, 2, 29), date(2025, 3, 1)),
)


@pytest.mark.parametrize(("clock", "period", "event", "first_day"), CLOCKS)
def test_each_clock_ends_on_the_day_that_a_calendar_says(clock: str, period: str, event: date, first_day: date) -> None:
    rule = replace(CARD, clock=clock, period=period)
    assert ends_on(rule, event) == first_day
    assert over_by(rule, first_day - timedelta(days=1)) < event <= over_by(rule, first_day)


@settings(max_examples=150, deadline=None)
@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(0, 30), st.integers(0, 30), st.integers(0, 400))
def test_days_are_added_as_dateutil_adds_them(event: date, years: int, months: int, days: int) -> None:
    text = "P" + "".join(f"{n}{unit}" for n, unit in ((years, "Y"), (months, "M"), (days, "D")) if n)
    if text == "P":
        return
    expected = event + relativedelta(years=years, months=months, days=days)
    assert ends_on(replace(CARD, period=text), event) == expected


@pytest.mark.parametrize(
    "period", ["P0D", "P-1M", "P1.5M", "PT", "P1YT", "90", "", "P", "p90d", "PT36H", "P9999Y", "P1Y "]
)
def test_a_period_that_would_forget_at_once_or_never_is_refused(period: str) -> None:
    with pytest.raises(Invalid) as refused:
        check_rule(replace(CARD, period=period))
    assert refused.value.problems[0].field == "period"


@pytest.mark.parametrize("clock", ["", "end", "end_of_financial_year", "end_of_financial_year:02-30", "event "])
def test_a_clock_that_does_not_exist_is_refused(clock: str) -> None:
    with pytest.raises(Invalid) as refused:
        check_rule(replace(CARD, clock=clock))
    assert refused.value.problems[0].field == "clock"


def test_disputes_legal_claims_and_open_requests_cannot_be_switched_off() -> None:
    """GDPR art. 17(3)(e): claims; art. 12 and 18: what is asked must still be there to be answered or set aside."""
    bare = check_rule(replace(CARD, exceptions=()))
    assert bare.exceptions == ALWAYS == ("dispute", "legal", "request", "set_aside")
    assert why_kept(bare, {"unpaid", "legal"}) == ("legal",) and why_kept(CARD, {"unpaid"}) == ("unpaid",)
    with pytest.raises(Invalid):
        check_rule(replace(default_rule("delegate"), exceptions=("unpaid",)))


def test_a_reason_that_nobody_may_switch_off_keeps_even_under_a_rule_that_does_not_name_it() -> None:
    bare = replace(CARD, exceptions=())
    assert why_kept(bare, ["set_aside", "unpaid", "legal", "request", "dispute"]) == ALWAYS


def test_somebody_looks_again_tomorrow_at_the_earliest_and_in_three_years_at_the_latest() -> None:
    today = date(2026, 11, 28)
    days = {today + timedelta(days=1), today + timedelta(days=3 * 366)}
    assert {review_day(day, today=today) for day in days} == days
    for day in (today, today - timedelta(days=1), today + timedelta(days=3 * 366 + 1)):
        with pytest.raises(Invalid):
            review_day(day, today=today)
    assert review_day(None, today=today) == today + timedelta(days=90)


def test_every_kind_of_data_says_its_source_and_the_day_it_was_read() -> None:
    for code, one in DATA_CLASSES.items():
        assert one.source and one.checked_on and one.what, code
        assert one.is_ruled or one.why, code
        if one.is_ruled:
            assert isinstance(check_rule(default_rule(code)), Rule)

"""How late parcels come, against scipy's Dirichlet and Bayes' rule in fractions."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from notify.core.hours import Counter, Hours
from notify.core.ready import DELAYS
from notify.core.working_days import Supplier, late
from notify.forecast.lead_times import BELATED, PRIOR, learned, parcel, shares

pytestmark = pytest.mark.usefixtures("tzdata_only")
SUPPLIER = Supplier(zone="Europe/London", delivers_at=time(10))
COUNTER = Counter(
    zone="Europe/London",
    hours=tuple(
        Hours(weekday=day, opens=time(9), closes=time(18), capacity=1, valid_from=date(2020, 1, 1)) for day in range(6)
    ),
)
DUE = datetime(2026, 11, 26, 10, tzinfo=UTC)  # a Thursday
COUNTS = st.lists(st.integers(0, 60), min_size=0, max_size=DELAYS + 1)


@given(COUNTS)
@settings(max_examples=50, deadline=None)
def test_the_next_parcel_is_as_late_as_the_mean_of_the_dirichlet_after_those_that_came(counts: list[int]) -> None:
    seen = counts + [0] * (len(PRIOR) - len(counts))
    theirs = stats.dirichlet([before + count for before, count in zip(PRIOR, seen, strict=True)]).mean()
    assert shares(counts) == pytest.approx(theirs.tolist(), abs=1e-12)


@given(COUNTS, st.integers(-100, 9000))
@settings(max_examples=100, deadline=None)
def test_what_is_overdue_is_shared_out_among_the_days_that_are_left(counts: list[int], minutes: int) -> None:
    """Bayes' rule: P(day | not here) = P(day) / P(a day that is not gone), in exact fractions."""
    now = DUE + timedelta(minutes=minutes)
    found = parcel("box", DUE, SUPPLIER, counts, now, COUNTER)
    days = [late(SUPPLIER, DUE, number, COUNTER) for number in range(DELAYS)]
    seen = [*counts, *([0] * (len(PRIOR) - len(counts)))]
    weights = [Fraction(str(before)) + count for before, count in zip(PRIOR, seen, strict=True)]
    left = [w if day + BELATED >= now else Fraction(0) for w, day in zip(weights, days, strict=False)] + weights[-1:]
    assert found.shares == pytest.approx([float(one / sum(left)) for one in left], abs=1e-12)
    assert found.arrivals[-1] is None and len(found.arrivals) == DELAYS + 1
    whole = [at for at in found.arrivals if at is not None]
    assert whole == sorted(whole) and min(whole) >= now.timestamp()


def test_a_parcel_of_thursday_comes_on_thursday_friday_monday_or_tuesday_or_nobody_knows_when() -> None:
    found = parcel("box", DUE, SUPPLIER, [], DUE - timedelta(days=1), COUNTER)
    told = [datetime.fromtimestamp(at, UTC) for at in found.arrivals if at is not None]
    assert told == [DUE, DUE + timedelta(days=1), DUE + timedelta(days=4), DUE + timedelta(days=5)]
    assert found.shares == pytest.approx([4 / 5.01, 0.75 / 5.01, 0.2 / 5.01, 0.01 / 5.01, 0.05 / 5.01])


def test_a_box_is_still_todays_for_an_hour_and_then_it_is_not() -> None:
    def today(after: timedelta) -> tuple[float | None, float]:
        found = parcel("box", DUE, SUPPLIER, [], DUE + after, COUNTER)
        return found.arrivals[0], found.shares[0]

    at, share = today(timedelta(minutes=40))
    assert at == (DUE + timedelta(minutes=40)).timestamp() and share == pytest.approx(4 / 5.01)
    assert today(BELATED)[1] > 0.7 and today(BELATED + timedelta(seconds=1))[1] == 0


def test_two_weeks_after_its_day_nobody_knows_when_it_comes() -> None:
    assert parcel("box", DUE, SUPPLIER, [90, 5], DUE + timedelta(days=14), COUNTER).shares == (0, 0, 0, 0, 1)


@given(st.lists(st.integers(0, 9), max_size=30))
@settings(max_examples=50, deadline=None)
def test_each_parcel_adds_one_to_the_delay_it_came_with(delays: list[int]) -> None:
    counts: list[int] = []
    for days in delays:
        counts = learned(counts, days)
    assert sum(counts) == len(delays)
    assert counts == [sum(min(days, DELAYS) == k for days in delays) for k in range(DELAYS + 1)] or not delays

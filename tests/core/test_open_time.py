"""Open seconds between instants, against counting minute by minute on the wall clock of the zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.hours import Counter, Hours, is_open
from notify.core.open_time import open_times

pytestmark = pytest.mark.usefixtures("tzdata_only")
START = datetime(2026, 3, 28, 20, tzinfo=UTC)  # a Saturday; the clocks of Berlin go forward on Sunday
HOURS = tuple(
    Hours(day, opens, closes, 1, date(2026, 1, 1))
    for day in range(7)
    for opens, closes in ((time(0), time(4)), (time(9), time(12, 30)), (time(14), time(0)))
    if day != 5
)
COUNTER = Counter("Europe/Berlin", HOURS)


@given(st.lists(st.integers(0, 30 * 60), min_size=1, max_size=5))
@settings(max_examples=8, deadline=None)
def test_open_time_is_what_counting_every_minute_gives(minutes: list[int]) -> None:
    moments = [START + timedelta(minutes=one) for one in minutes]
    found = open_times(moments, COUNTER)
    first, last = min(moments), max(moments)
    counted, at = 0, first
    while at < last:
        counted += is_open(COUNTER, at)
        at += timedelta(minutes=1)
    assert found[last] - found[first] == counted * 60
    assert set(found) == set(moments)


def test_of_no_instants_and_in_a_shop_that_is_never_open_there_is_no_open_time() -> None:
    assert open_times([], COUNTER) == {}
    found = open_times([START, START + timedelta(days=3)], Counter("Europe/Berlin", ()))
    assert set(found.values()) == {0.0}

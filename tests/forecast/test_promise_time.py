"""One time out of a sample: the order statistic's own guarantee, and ticks that a second zone library finds too."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest
import pytz  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.core.hours import Counter, Hours
from notify.forecast.promise import chance, instant_of, quantile, quantiles, tick

pytestmark = pytest.mark.usefixtures("tzdata_only")

EVERY_DAY = tuple(Hours(weekday, time(1, 10), time(4), 1, date(2000, 1, 1)) for weekday in range(7))
NIGHT = tuple(Hours(weekday, time(20), time(0), 1, date(2000, 1, 1)) for weekday in range(7))


@pytest.mark.parametrize(("size", "level"), [(12, 0.9), (40, 0.5), (99, 0.95), (19, 0.8)])
def test_a_new_draw_keeps_the_quantile_as_often_as_order_statistics_say(size: int, level: float) -> None:
    """The share below the k-th of N is k/(N+1) on average, whatever the distribution (Wilks 1941; from memory)."""
    trials = 20_000
    draws = np.random.default_rng(5).lognormal(3, 1, (trials, size + 1))
    found = [quantile(np.sort(row[:-1]), level) for row in draws]
    kept = float(np.mean(draws[:, -1] <= found))
    wanted = math.ceil(round(level * (size + 1), 9)) / (size + 1)
    assert wanted >= level and abs(kept - wanted) < 4 * math.sqrt(wanted * (1 - wanted) / trials)


def test_a_sample_too_small_for_the_level_has_no_quantile_there() -> None:
    few = np.arange(1.0, 9.0)
    assert quantile(few, 0.9) == math.inf and quantile(few, 0.88) == 8.0
    # .07 * 100 is a hair above 7 in floats; the rank must not be 8.
    assert quantile(np.arange(1.0, 100.0), 0.07) == 7.0


@pytest.mark.parametrize(("sample", "level"), [([], 0.5), ([1.0], 0.0), ([1.0], 1.0), ([1.0], math.nan)])
def test_no_sample_and_no_level_are_refused(sample: list[float], level: float) -> None:
    with pytest.raises(ValueError, match="no quantile"):
        quantile(np.array(sample), level)


def test_exactly_at_its_time_is_in_time_and_an_empty_sample_has_no_chance() -> None:
    assert chance(np.array([1.0, 2.0, 2.0, math.inf]), 2.0) == 0.75
    assert quantiles(np.arange(1.0, 20.0), (0.05, 0.5, 0.95)) == (1.0, 10.0, 19.0)
    with pytest.raises(ValueError, match="empty"):
        chance(np.array([]), 2.0)


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(
        [("Europe/Berlin", "2026-03-28"), ("Europe/Berlin", "2026-10-24"), ("Australia/Lord_Howe", "2026-10-03"),
         ("Australia/Lord_Howe", "2026-04-04"), ("America/New_York", "2026-10-31"), ("Asia/Kathmandu", "2026-05-01")]
    ),
    st.sampled_from([EVERY_DAY, NIGHT]),
    st.sampled_from([15, 20, 30, 60]),
    st.integers(0, 47 * 3600),
)  # fmt: skip
def test_the_tick_is_the_first_full_one_of_the_wall_clock_that_pytz_finds_second_by_second(
    place: tuple[str, str], rows: tuple[Hours, ...], minutes: int, later: int
) -> None:
    zone = pytz.timezone(place[0])
    at = zone.localize(datetime.fromisoformat(place[1])).astimezone(UTC) + timedelta(seconds=later)
    counter = Counter(place[0], rows)
    assert tick(counter, at, minutes) == _first(zone, rows[0], at, minutes)


def _first(zone: pytz.BaseTzInfo, row: Hours, at: datetime, minutes: int) -> datetime:
    """Minute by minute (all zones here are off by whole ones): a full tick, between opening and closing included."""
    moment = at + timedelta(seconds=-at.timestamp() % 60)
    while True:
        wall = moment.astimezone(zone)
        full = not (wall.hour * 60 + wall.minute) % minutes
        if full and any(_is_open(zone, row, wall.date() - timedelta(days=ago), moment) for ago in (0, 1)):
            return moment
        moment += timedelta(minutes=1)


def _is_open(zone: pytz.BaseTzInfo, row: Hours, day: date, moment: datetime) -> bool:
    """An hour that comes twice opens with its first occurrence (still in summer) and closes with its last."""
    closing = datetime.combine(day + timedelta(days=row.closes == time(0)), row.closes)
    opens = zone.localize(datetime.combine(day, row.opens), is_dst=True)
    return bool(opens <= moment <= zone.localize(closing, is_dst=False))


def test_a_shop_without_hours_has_no_tick_and_ticks_must_fill_a_day() -> None:
    at = datetime(2026, 3, 3, tzinfo=UTC)
    assert tick(Counter("Europe/Berlin", ()), at, 15) is None
    # Open for ten minutes between two ticks only: there is none either.
    short = tuple(Hours(weekday, time(9, 5), time(9, 14), 1, date(2000, 1, 1)) for weekday in range(7))
    assert tick(Counter("Europe/Berlin", short), at, 30) is None
    for minutes in (0, -15, 25, 2000):
        with pytest.raises(Invalid, match="do not fill a day"):
            tick(Counter("Europe/Berlin", EVERY_DAY), at, minutes)


def test_an_instant_is_rounded_up_to_a_second_but_not_for_dust() -> None:
    assert instant_of(1_772_528_400.0000004) == datetime(2026, 3, 3, 9, tzinfo=UTC)
    assert instant_of(1_772_528_400.2) == datetime(2026, 3, 3, 9, 0, 1, tzinfo=UTC)

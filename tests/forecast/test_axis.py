"""Working time: against counting second by second, against pytz over clock changes, and what is no calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest
import pytz  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.hours import Counter, Hours
from notify.forecast.axis import Axes, Axis, axis_of

pytestmark = pytest.mark.usefixtures("tzdata_only")

# Gap, length, gap, length ... of spans that may touch, and be empty.
SPANS = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 6)), max_size=5).map(
    lambda pairs: [
        (float(sum(map(sum, pairs[:n])) + gap), float(sum(map(sum, pairs[:n])) + gap + length))
        for n, (gap, length) in enumerate(pairs)
    ]
)
LAST = 70


def seconds_of(spans: list[tuple[float, float]]) -> list[int]:
    """Every second in which there is work, one by one."""
    return [second for second in range(LAST) if any(opens <= second < closes for opens, closes in spans)]


@settings(max_examples=60, deadline=None)
@given(SPANS)
def test_work_and_its_two_inverses_are_what_counting_second_by_second_gives(spans: list[tuple[float, float]]) -> None:
    axis, worked = Axis.of(spans), seconds_of(spans)
    assert axis.total == len(worked)
    instants = np.arange(-3.0, LAST)
    assert axis.work(instants).tolist() == [sum(second < at for second in worked) for at in instants]
    # finish: the end of the last second needed; start: the beginning of the next one.
    work = np.arange(0.0, len(worked) + 3)
    finish = [worked[max(int(done) - 1, 0)] + bool(done) if worked and done <= len(worked) else np.inf for done in work]
    start = [worked[int(done)] if done < len(worked) else np.inf for done in work]
    assert axis.finish(work).tolist() == finish
    assert axis.start(work).tolist() == start


@settings(max_examples=60, deadline=None)
@given(st.lists(SPANS, min_size=1, max_size=4), st.integers(-5, 60), st.integers(1, 30))
def test_several_people_in_one_table_are_what_each_of_them_is_alone(
    people: list[list[tuple[float, float]]], at: int, seconds: int
) -> None:
    axes = Axes.of([Axis.of(spans) for spans in people])
    for who, spans in enumerate(people):
        ahead = [second for second in seconds_of(spans) if second >= at]
        begun = axes.begin(who, np.array([float(at), np.inf]))
        assert begun.tolist() == [ahead[0] if ahead else np.inf, np.inf]
        ended = axes.end(np.array([who]), begun[:1], np.array([float(seconds)]))
        assert ended.tolist() == [ahead[seconds - 1] + 1 if len(ahead) >= seconds else np.inf]


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"])
def test_open_time_over_a_whole_year_is_what_pytz_says_of_each_day(zone: str) -> None:
    """Open from 1:30 to 3:30 by the wall, where the clocks change: the second reading of such an hour ends the span."""
    rows = tuple(Hours(weekday, time(1, 30), time(3, 30), 1, date(2000, 1, 1)) for weekday in range(7))
    now = datetime(2026, 1, 2, 12, tzinfo=UTC)
    axis = axis_of(Counter(zone, rows), now, days=364)
    held, first = pytz.timezone(zone), now.astimezone(pytz.timezone(zone)).date() - timedelta(days=1)
    lengths = []
    for ahead in range(366):
        day = datetime.combine(first + timedelta(days=ahead), time(0))
        # An opening hour that comes twice is its first occurrence (still in summer), a closing one its last.
        opens = held.localize(day + timedelta(hours=1, minutes=30), is_dst=True)
        closes = held.localize(day + timedelta(hours=3, minutes=30), is_dst=False)
        lengths.append((closes - opens).total_seconds())
    assert [closes - opens for opens, closes in axis.spans] == lengths
    assert len(set(lengths)) == 3  # most days, the short one and the long one


def test_absences_are_cut_out_however_they_lie_and_overlap() -> None:
    rows = tuple(Hours(weekday, time(9), time(18), 1, date(2000, 1, 1)) for weekday in range(7))
    counter, now = Counter("Europe/London", rows), datetime(2026, 3, 3, 12, tzinfo=UTC)
    nine = datetime(2026, 3, 3, 9, tzinfo=UTC).timestamp()
    hour = 3600.0
    away = [(nine + 5 * hour, nine + 6 * hour), (nine - 99, nine + hour), (nine + 5.5 * hour, nine + 30 * hour)]
    axis = axis_of(counter, now, away=away, days=1)
    day = 24 * hour
    assert axis.spans == (
        (nine - day, nine - day + 9 * hour), (nine + hour, nine + 5 * hour), (nine + 30 * hour, nine + day + 9 * hour),
    )  # fmt: skip


@pytest.mark.parametrize(
    "spans", [[(5.0, 4.0)], [(0.0, float("nan"))], [(0.0, 5.0), (4.0, 6.0)], [(0.0, float("inf"))]]
)
def test_spans_that_are_no_calendar_are_refused(spans: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="span"):
        Axis.of(spans)


def test_a_shop_that_is_never_open_has_an_axis_on_which_nothing_is_ever_done() -> None:
    axis = axis_of(Counter("Europe/Berlin", ()), datetime(2026, 3, 3, tzinfo=UTC))
    assert axis.total == 0 and axis.work(1e9) == 0
    assert np.isinf(axis.finish(0.0)) and np.isinf(axis.start(0.0)) and axis.end == -np.inf

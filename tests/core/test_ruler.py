"""Open time as one line, held against counting minutes; and the chance read off a kept grid, against numpy."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import accumulate

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.hours import Counter, Hours, is_open
from notify.core.ready import LEVELS, chance_by
from notify.core.ruler import ruler

STEP = timedelta(minutes=5)  # every opening and closing here is a whole number of them
# The week before the last Sunday of October 2026, on which the clock of London goes back at 01:00 UTC (IANA data; the
# instants stand in the published cases of tests/vectors).
NOW = datetime(2026, 10, 23, 12, 5, tzinfo=UTC)


def counter(*rows: tuple[int, int, int]) -> Counter:
    """Weekday, opening hour, closing hour; 24 is midnight."""
    return Counter(
        "Europe/London",
        tuple(Hours(day, time(opens), time(closes % 24), 1, date(2026, 1, 1)) for day, opens, closes in rows),
    )


def open_so_far(shop: Counter, start: datetime, end: datetime) -> list[int]:
    """Open minutes from `start` until each step: every five minutes asked of the rule that says whether it is open."""
    steps = range(int((end - start) / STEP))
    return [0, *accumulate(5 * is_open(shop, start + i * STEP) for i in steps)]


WEEK = counter(*((day, 9, 18) for day in range(5)), (5, 10, 13), (6, 0, 4))


def test_a_place_on_the_line_is_the_share_of_open_minutes_before_it_through_a_change_of_the_clock() -> None:
    on = ruler(WEEK, NOW, [NOW + timedelta(days=4)])
    assert on.end is not None
    counted = open_so_far(WEEK, NOW, on.end)
    wrong = [i for i, done in enumerate(counted) if abs(on.place(NOW + i * STEP) - done / counted[-1]) > 1e-9]
    print(f"FIGURE ruler_places tried={len(counted)} wrong={len(wrong)} open_minutes={counted[-1]}")
    assert not wrong
    assert counted[-1] == 295 + 180 + 300 + 540  # Friday, Saturday, 0 to 4 of a Sunday that has 25 hours, Monday


def test_the_line_ends_at_the_closing_of_the_last_day_that_is_needed_and_never_after_four_open_days() -> None:
    saturday = datetime(2026, 10, 24, 11, 30, tzinfo=UTC)
    assert ruler(WEEK, NOW, []).end == datetime(2026, 10, 23, 17, 0, tzinfo=UTC)
    assert ruler(WEEK, NOW, [saturday]).end == datetime(2026, 10, 24, 12, 0, tzinfo=UTC)
    far = ruler(WEEK, NOW, [NOW + timedelta(days=60)])
    assert far.end == datetime(2026, 10, 26, 18, 0, tzinfo=UTC) and len(far.days()) == 4
    assert far.place(NOW + timedelta(days=60)) == 1.0 and far.place(NOW - timedelta(days=9)) == 0.0


def test_a_night_lies_at_the_closing_before_it_and_days_are_named_where_they_begin() -> None:
    on = ruler(WEEK, NOW, [datetime(2026, 10, 24, 11, 0, tzinfo=UTC)])
    (shut,) = on.shuts()
    assert (
        on.place(datetime(2026, 10, 23, 17, 0, tzinfo=UTC)) == shut == on.place(datetime(2026, 10, 24, 3, tzinfo=UTC))
    )
    assert [place for place, _ in on.days()] == [0.0, shut]


def test_a_shop_that_is_never_open_has_no_line() -> None:
    never = ruler(counter(), NOW, [NOW])
    assert never.end is None and never.place(NOW) == 0.0 and never.shuts() == () and never.days() == ()


def test_two_stretches_of_one_day_are_one_day() -> None:
    on = ruler(counter((4, 9, 12), (4, 13, 18)), datetime(2026, 10, 23, 8, 30, tzinfo=UTC), [])
    assert len(on.open) == 2 and len(on.days()) == 1 and len(on.shuts()) == 1


SECONDS = st.lists(st.integers(0, 400_000), min_size=19, max_size=19, unique=True).map(sorted)


@settings(max_examples=60, deadline=None)
@given(SECONDS, st.integers(-10, 400_010))
def test_the_chance_read_off_a_grid_is_what_numpy_interpolates_between_its_levels(found: list[int], at: int) -> None:
    grid = tuple(NOW + timedelta(seconds=one) for one in found)
    wanted = float(np.interp(at, found, LEVELS, left=0.025, right=0.975))
    if at == found[-1]:
        wanted = 0.975  # from the last quantile on; numpy gives the level itself
    assert abs(chance_by(grid, NOW + timedelta(seconds=at)) - wanted) < 1e-9


def test_an_instant_on_which_much_falls_counts_with_all_that_falls_on_it() -> None:
    at_closing = NOW + timedelta(hours=5)
    grid = (*(NOW + timedelta(hours=one / 2) for one in range(8)), *(at_closing for _ in range(11)))
    assert chance_by(grid, at_closing) == 0.975
    assert chance_by(grid, at_closing - timedelta(seconds=1)) < 0.45

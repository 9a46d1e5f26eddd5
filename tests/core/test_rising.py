"""Where a look at a rising change column begins: nothing written in time is missed, an idle look is short."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core import rising
from notify.core.rising import Bound, Position, Value

NOON = datetime(2026, 11, 28, 12, tzinfo=UTC)
BACK = timedelta(seconds=300)


def after(seconds: float) -> datetime:
    return NOON + timedelta(seconds=seconds)


def looks(*seen: tuple[float, Value | None]) -> Position:
    """The position after looks at these seconds, each with the highest value that it saw."""
    position = Position("q")
    for seconds, newest in seen:
        position = rising.moved(position, began=after(seconds), newest=newest, look_back=BACK, whole=NOON.date())
    return position


@dataclass
class Their:
    """A table whose writers take a value and commit later, read as a database would be: by comparison alone."""

    rows: list[tuple[float, float, int]]  # (taken at, committed at, value)

    def seen_at(self, now: float, bound: Bound | None) -> list[int]:
        visible = [value for _, committed, value in self.rows if committed <= now]
        if bound is None:
            return sorted(visible)
        return sorted(one for one in visible if one > int(str(bound.value)) or (bound.same_too and one == bound.value))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 4000), st.integers(0, 290)), max_size=25),
    st.lists(st.integers(1, 900), min_size=1, max_size=40),
)
def test_whatever_is_committed_within_the_time_to_look_back_is_read_by_the_next_look(
    writers: list[tuple[int, int]], waits: list[int]
) -> None:
    """A value is a clock of whole tens, so that many are alike: with its ten seconds a transaction lasts 300."""
    their = Their([(at, at + lasts, at // 10) for at, lasts in writers])
    position, now, read = rising.moved(Position("q"), began=after(-10), newest=-100, look_back=BACK), 0.0, set[int]()
    unread = set[tuple[int, int]]()
    for wait in waits:
        now += wait
        found = set(their.seen_at(now, rising.start(position, BACK)))
        new = {(at, lasts) for at, lasts in writers if at + lasts <= now} - unread
        unread |= new
        assert {at // 10 for at, _ in new} <= found
        read |= found
        position = rising.moved(position, began=after(now), newest=max(found, default=None), look_back=BACK)


def test_a_quiet_table_is_asked_only_for_what_is_above_its_newest_value() -> None:
    position = looks((0, 5), (10, 7), (20, None), (400, None))
    assert rising.start(position, BACK) == Bound(7, same_too=False)
    assert len(position.marks) == 1


def test_a_look_begins_at_what_was_the_newest_five_minutes_before_the_last_one() -> None:
    position = looks((0, 5), (100, 6), (200, 7), (350, 8), (420, 9))
    assert rising.start(position, BACK) == Bound(6, same_too=False)


def test_the_last_look_counts_also_when_the_source_was_away_for_a_day() -> None:
    position = looks((0, 5), (290, 6))
    assert rising.start(position, BACK) == Bound(5, same_too=True)
    later = rising.moved(position, began=after(86_400), newest=9, look_back=BACK)
    assert rising.start(later, BACK) == Bound(6, same_too=False)


def test_marks_stay_few_however_often_it_is_looked() -> None:
    position = looks(*((at * 2, at) for at in range(3000)))
    assert len(position.marks) <= rising.STEPS + 2
    start = rising.start(position, BACK)
    assert start is not None and 2999 - 150 - 2 * 10 <= int(str(start.value)) <= 2999 - 150


@pytest.mark.parametrize(
    ("value", "coarse"),
    [(date(2026, 11, 28), True), ("2026-11-28", True), ("rev c", True), ("2026-11-28 11:30:00", False), (7, False),
     (NOON, False)],
)  # fmt: skip
def test_a_value_that_comes_again_all_day_is_asked_for_again(value: Value, coarse: bool) -> None:
    start = rising.start(looks((0, value), (400, None)), BACK)
    assert start == Bound(value, same_too=coarse)


def test_everything_is_compared_first_then_after_the_look_back_then_once_a_night_from_three_oclock() -> None:
    zone = "Europe/London"  # UTC in November
    first = looks((0, 5))
    assert rising.is_whole_due(Position("q"), NOON, zone, BACK)
    assert not rising.is_whole_due(first, after(299), zone, BACK)
    assert rising.is_whole_due(first, after(300), zone, BACK)
    done = rising.moved(first, began=after(310), newest=5, look_back=BACK, whole=rising.night_of(after(310), zone))
    assert not rising.is_whole_due(done, datetime(2026, 11, 29, 2, 59, 59, tzinfo=UTC), zone, BACK)
    assert rising.is_whole_due(done, datetime(2026, 11, 29, 3, 0, tzinfo=UTC), zone, BACK)
    assert not rising.is_whole_due(done, datetime(2026, 11, 29, 3, 0, tzinfo=UTC), "America/New_York", BACK)


def test_a_clock_put_back_makes_all_be_read_again_and_nothing_stand_still() -> None:
    ahead = looks((90_000, 5), (90_400, 6))
    back = rising.moved(ahead, began=NOON, newest=6, look_back=BACK)
    assert back.marks == ((NOON, 6),)


@pytest.mark.parametrize(
    ("value", "usable"),
    [(None, False), (7, True), (NOON, True), (after(86_399), True), (datetime(2062, 1, 1, tzinfo=UTC), False),
     (datetime(2062, 1, 1), False), (date(2062, 1, 1), False), ("2062-01-01 00:00", False), ("infinity", False),
     ("2026-11-28 12:00", True), ("rev c", True), (date(2026, 11, 28), True)],
)  # fmt: skip
def test_a_row_dated_far_ahead_does_not_hide_those_that_follow(value: Value | None, usable: bool) -> None:
    assert rising.is_usable(value, NOON) is usable


VALUES: tuple[Value, ...] = (
    7, -(2**70), 2.5, Decimal("12.50"), NOON, datetime(2026, 11, 28, 1, 2, 3, 4), date(2026, 11, 28), "Grüße", "",
    b"\x00\xff", UUID(int=5),
)  # fmt: skip


@pytest.mark.parametrize("value", VALUES, ids=repr)
def test_a_position_comes_back_from_its_json_as_it_was(value: Value) -> None:
    position = replace(looks((0, value), (400, None)), of="q")
    again = rising.read(json.loads(json.dumps(rising.written(position))), "q")
    assert again == position and type(again.newest) is type(value)


def test_another_question_begins_anew() -> None:
    kept = rising.written(looks((0, 5)))
    assert rising.read(kept, "another") == Position("another") == rising.read({}, "another")

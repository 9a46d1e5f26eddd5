"""Pickup slots over ten years of clock changes, and their edges."""

from __future__ import annotations

import random
from collections import Counter as Tally
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any

import pytest
import pytz  # type: ignore[import-untyped]

from notify.core.errors import Invalid
from notify.core.hours import Counter, Hours, SpecialDay
from notify.core.slots import check_bookable, slot_at, slots, slots_on

pytestmark = pytest.mark.usefixtures("tzdata_only")

SINCE = date(2026, 1, 1)
SUNDAY = date(2026, 3, 29)
STEP = timedelta(minutes=30)
DAYS = 3650
NOW = datetime(2026, 11, 23, 8, 0, tzinfo=UTC)


def night_shop(zone: str) -> Counter:
    """Open around every midnight and every clock change of its zone, each day of the week."""
    early = tuple(Hours(day, time(0), time(4), 1, SINCE) for day in range(7))
    late = tuple(Hours(day, time(23), time(0), 1, SINCE) for day in range(7))
    return Counter(zone, early + late, slot_minutes=30)


def day_shop(**settings: Any) -> Counter:
    weekly = tuple(Hours(day, time(9), time(11), 2, SINCE) for day in range(6))
    return Counter("Europe/London", weekly, **settings)


def wall_times(day: date) -> list[datetime]:
    midnight = datetime.combine(day, time(0))
    return [midnight + n * STEP for n in (*range(8), 46, 47)]


def expected(day: date, tz: pytz.BaseTzInfo) -> set[tuple[datetime, datetime]]:
    """(wall time, UTC start) of every occurrence, by pytz, which reads its own copy of the zone data."""
    found = set()
    for wall in wall_times(day):
        for is_dst in (True, False):
            start = tz.localize(wall, is_dst=is_dst).astimezone(UTC)
            if start.astimezone(tz).replace(tzinfo=None) == wall:
                found.add((wall, start))
    return found


@pytest.mark.long
@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York", "Australia/Lord_Howe"])
def test_ten_years_of_slots_show_only_wall_times_that_happen(zone: str) -> None:
    shop, tz = night_shop(zone), pytz.timezone(zone)
    count, wrong, per_day = 0, 0, Tally[int]()
    for day in (SINCE + timedelta(days=n) for n in range(DAYS)):
        offered = slots_on(shop, day)
        wrong += len({(slot.local, slot.start) for slot in offered} ^ expected(day, tz))
        wrong += sum(late.start < early.end for early, late in pairwise(offered))
        count += len(offered)
        per_day[len(offered)] += 1
    short = sum(days for size, days in per_day.items() if size < 10)
    long = sum(days for size, days in per_day.items() if size > 10)
    assert wrong == 0
    assert short == long == 10, "ten springs and ten autumns must have been met"
    print(
        f"FIGURE C4 zone={zone} days={DAYS} slots={count} wrong_local_time={wrong} short_days={short} long_days={long}"
    )


def test_leap_day_and_midnight_have_their_slots() -> None:
    offered = slots_on(night_shop("Europe/London"), date(2028, 2, 29))
    assert offered[0].local == datetime(2028, 2, 29, 0, 0)
    assert offered[-1].end == datetime(2028, 3, 1, 0, 0, tzinfo=UTC)


def test_a_slot_is_found_again_by_its_wall_time_and_fold() -> None:
    shop = night_shop("Europe/London")
    for day in (date(2026, 10, 25), SUNDAY, date(2026, 11, 23)):
        for slot in slots_on(shop, day):
            assert slot_at(shop, slot.local, slot.fold) == slot


@pytest.mark.parametrize(
    ("wall", "fold", "words"),
    [
        (datetime(2026, 3, 29, 1, 30), 0, "The clock skips 01:30 on 2026-03-29"),
        (datetime(2026, 11, 23, 1, 30), 1, "There is no pickup slot at 2026-11-23 01:30"),
        (datetime(2026, 11, 23, 1, 31), 0, "There is no pickup slot at 2026-11-23 01:31"),
        (datetime(2026, 11, 23, 12, 0), 0, "There is no pickup slot at 2026-11-23 12:00"),
        (datetime(2026, 11, 23, 1, 30, tzinfo=UTC), 0, "without a zone"),
    ],
)
def test_a_slot_that_is_not_there_is_refused_by_name(wall: datetime, fold: int, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        slot_at(night_shop("Europe/London"), wall, fold)


def test_lead_time_horizon_and_readiness_bound_what_is_offered() -> None:
    shop = day_shop(slot_minutes=60, lead_minutes=61, horizon_days=1)
    assert [slot.local for slot in slots(shop, now=NOW)] == [
        datetime(2026, 11, 23, 10), datetime(2026, 11, 24, 9), datetime(2026, 11, 24, 10)
    ]  # fmt: skip
    ready = datetime(2026, 11, 24, 9, 30, tzinfo=UTC)
    assert [slot.local.hour for slot in slots(shop, now=NOW, not_before=ready)] == [10]
    assert slots(shop, now=NOW, not_before=NOW + timedelta(days=9)) == ()


def test_a_slot_too_soon_or_too_far_ahead_is_refused_and_says_which() -> None:
    shop = day_shop(slot_minutes=60, lead_minutes=61, horizon_days=1)
    with pytest.raises(Invalid, match="too soon"):
        check_bookable(shop, slot_at(shop, datetime(2026, 11, 23, 9), 0), now=NOW)
    with pytest.raises(Invalid, match="more than 1 days ahead"):
        check_bookable(shop, slot_at(shop, datetime(2026, 11, 25, 9), 0), now=NOW)
    for slot in slots(shop, now=NOW):
        check_bookable(shop, slot, now=NOW)


def test_no_slot_runs_past_closing_and_none_is_offered_without_capacity() -> None:
    assert [slot.local.minute for slot in slots_on(day_shop(slot_minutes=45), NOW.date())] == [0, 45]
    shop = Counter("Europe/London", (Hours(0, time(9), time(11), 0, SINCE),))
    assert slots_on(shop, NOW.date()) == ()


def test_slots_follow_closed_and_special_days() -> None:
    special = SpecialDay(NOW.date(), time(14), time(15), 3)
    shop = Counter("Europe/London", day_shop().hours, special=(special,), slot_minutes=30)
    assert [(slot.local.hour, slot.capacity) for slot in slots_on(shop, NOW.date())] == [(14, 3), (14, 3)]
    shut = Counter("Europe/London", day_shop().hours, closed=frozenset({NOW.date()}))
    assert slots_on(shut, NOW.date()) == ()


def test_no_two_slots_overlap_when_the_clock_jumps_over_a_running_one() -> None:
    """40-minute slots: the one from 00:40 is still running when the clock jumps from 01:00 to 02:00."""
    special = SpecialDay(SUNDAY, time(0), time(5), 1)
    shop = Counter("Europe/London", (), special=(special,), slot_minutes=40)
    offered = slots_on(shop, SUNDAY)
    assert [f"{slot.local:%H:%M}" for slot in offered] == ["00:00", "00:40", "02:40", "03:20", "04:00"]


def test_slots_of_odd_lengths_never_overlap_nor_leave_their_span() -> None:
    chance = random.Random(20261125)
    for _ in range(200):
        opens, length = time(chance.randrange(4), chance.choice([0, 10, 25])), chance.randrange(5, 90)
        day = chance.choice([SUNDAY, date(2026, 10, 25), NOW.date()])
        shop = Counter("Europe/London", (), special=(SpecialDay(day, opens, time(6), 1),), slot_minutes=length)
        offered = slots_on(shop, day)
        assert all(late.start >= early.end for early, late in pairwise(offered))
        assert all(slot.end - slot.start == timedelta(minutes=length) for slot in offered)
        assert all(slot.start.astimezone(UTC).isoformat() == slot.start.isoformat() for slot in offered)

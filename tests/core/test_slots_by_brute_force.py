"""Slots against a model that knows no rule but the clock on the wall: it walks every minute of a day, by pytz."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
import pytz  # type: ignore[import-untyped]
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.core.hours import MIDNIGHT, Counter, Hours, SpecialDay
from notify.core.slots import slot_at, slots, slots_on

pytestmark = pytest.mark.usefixtures("tzdata_only")
MINUTE = timedelta(minutes=1)
SINCE = date(2026, 1, 1)
# Ordinary days, both clock changes of each zone (zdump), a leap day, and the days around them.
DAYS = [
    date(2026, 3, 8), date(2026, 3, 29), date(2026, 4, 5), date(2026, 10, 4), date(2026, 10, 25), date(2026, 11, 1),
    date(2026, 11, 23), date(2026, 12, 26), date(2028, 2, 29),
]  # fmt: skip
ZONES = ("Europe/London", "America/New_York", "Australia/Lord_Howe")
QUARTERS = st.integers(0, 96)


@st.composite
def rows(draw: Any, most: int = 3) -> list[tuple[time, time, int]]:
    """Spans of one day that do not overlap: breaks between them, some of no length left out."""
    cuts = sorted(draw(st.lists(QUARTERS, min_size=2, max_size=2 * most, unique=True)))
    pairs = zip(cuts[::2], cuts[1::2], strict=False)
    return [(_clock(a), _clock(b), draw(st.integers(0, 3))) for a, b in pairs]


def _clock(quarter: int) -> time:
    return time(quarter // 4 % 24, quarter % 4 * 15)


@st.composite
def counters(draw: Any) -> tuple[Counter, date]:
    """A counter and a day to look at: weekly rows, an older week, special hours, closed days, public holidays."""
    day, around = draw(st.sampled_from(DAYS)), timedelta(days=1)
    weekly = [Hours(wd, a, b, n, SINCE) for wd in range(7) for a, b, n in draw(rows(2))]
    newer = [Hours(day.weekday(), a, b, n, day - around, draw(st.sampled_from([None, day, day - around])))
             for a, b, n in (draw(rows(2)) if draw(st.booleans()) else [])]  # fmt: skip
    special = [SpecialDay(day, a, b, n) for a, b, n in (draw(rows(2)) if draw(st.booleans()) else [])]
    days = st.sets(st.sampled_from([day - around, day, day + around]), max_size=2)
    counter = Counter(
        draw(st.sampled_from(ZONES)), (*weekly, *newer), frozenset(draw(days) if draw(st.booleans()) else ()),
        tuple(special), slot_minutes=draw(st.sampled_from([5, 10, 15, 20, 25, 40, 60, 90])),
        lead_minutes=draw(st.sampled_from([0, 1, 30, 600, 1500])), horizon_days=draw(st.integers(0, 3)),
        holidays=frozenset(draw(days) if draw(st.booleans()) else ()), as_usual=frozenset(draw(days)),
    )  # fmt: skip
    return counter, day


def rows_by_hand(counter: Counter, day: date) -> list[tuple[time, time, int]]:
    """Which rows count, said anew: closed, else special, else a holiday is closed unless as usual, else the week."""
    if day in counter.closed:
        return []
    found = [(r.opens, r.closes, r.capacity) for r in counter.special if r.day == day]
    if found or (day in counter.holidays and day not in counter.as_usual):
        return sorted(found)
    fits = [h for h in counter.hours if h.weekday == day.weekday() and h.valid_from <= day <= (h.valid_until or day)]
    newest = max((h.valid_from for h in fits), default=None)
    return sorted((h.opens, h.closes, h.capacity) for h in fits if h.valid_from == newest)


def minutes_of(day: date, zone: str) -> Iterator[tuple[datetime, datetime]]:
    """Every minute that the wall of that zone shows on that date: (UTC, wall)."""
    tz = pytz.timezone(zone)
    at = datetime.combine(day, time(0), UTC) - timedelta(hours=16)
    for _ in range(48 * 60):
        wall = at.astimezone(tz).replace(tzinfo=None)
        if wall.date() == day:
            yield at, wall
        at += MINUTE


def brute_force(counter: Counter, day: date) -> list[tuple[datetime, datetime, int]]:
    """(wall, UTC start, capacity) of every slot, found by looking at each minute."""
    wall_of = list(minutes_of(day, counter.zone))
    midnight, length = datetime.combine(day, time(0)), timedelta(minutes=counter.slot_minutes)
    found: list[tuple[datetime, datetime, int]] = []
    free_from = wall_of[0][0]
    for opens, closes, room in rows_by_hand(counter, day):
        first = midnight + timedelta(hours=opens.hour, minutes=opens.minute)
        last = midnight + timedelta(days=closes == MIDNIGHT, hours=closes.hour, minutes=closes.minute)
        begin = max(free_from, min((at for at, wall in wall_of if wall >= first), default=wall_of[-1][0] + MINUTE))
        end = max((at for at, wall in wall_of if wall < last), default=begin - MINUTE) + MINUTE
        for at, wall in wall_of:
            on_grid = first <= wall < last and (wall - first) % length == timedelta(0)
            if on_grid and begin <= at and at + length <= end and (not found or at >= found[-1][1] + length):
                found.append((wall, at, room))
        free_from = max(free_from, end) if begin < end else free_from
    return [one for one in found if one[2]]


@pytest.mark.long
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture,
                                                                  HealthCheck.too_slow])  # fmt: skip
@given(counters())
def test_the_slots_of_a_day_are_those_that_somebody_finds_who_looks_at_every_minute(made: tuple[Counter, date]) -> None:
    counter, day = made
    assert [(s.local, s.start, s.capacity) for s in slots_on(counter, day)] == brute_force(counter, day)


@pytest.mark.long
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture,
                                                                 HealthCheck.too_slow])  # fmt: skip
@given(counters(), st.integers(0, 287).map(lambda n: 5 * n + 1), st.one_of(st.none(), st.integers(0, 4000)))
def test_what_is_offered_starts_after_the_lead_time_and_ends_with_the_horizon(
    made: tuple[Counter, date], minute: int, ready: int | None
) -> None:
    counter, day = made
    now = datetime.combine(day, time(0), UTC) + minute * MINUTE
    not_before = now + ready * MINUTE if ready is not None else None
    today = now.astimezone(pytz.timezone(counter.zone)).date()
    within = [today + timedelta(days=ahead) for ahead in range(counter.horizon_days + 1)]
    soonest = max(now + timedelta(minutes=counter.lead_minutes), not_before or now)
    wanted = [one for each in within for one in brute_force(counter, each) if one[1] >= soonest]
    offered = slots(counter, now=now, not_before=not_before)
    assert [(s.local, s.start, s.capacity) for s in offered] == wanted
    for slot in offered[:3]:  # the last minute in which it may be booked, and the one after
        last = slot.start - timedelta(minutes=counter.lead_minutes)
        if last.astimezone(pytz.timezone(counter.zone)).date() == today:
            assert slot in slots(counter, now=last) and slot not in slots(counter, now=last + MINUTE)


def test_the_model_itself_finds_the_hour_that_comes_twice_and_the_one_that_is_skipped() -> None:
    """Berlin and London change at 01:00 UTC (IANA, zdump): one hour more in October, one less in March."""
    shop = Counter("Europe/London", tuple(Hours(wd, time(0), time(4), 1, SINCE) for wd in range(7)), slot_minutes=60)
    walls = [f"{wall:%H:%M}" for wall, _, _ in brute_force(shop, date(2026, 10, 25))]
    assert walls == ["00:00", "01:00", "01:00", "02:00", "03:00"]
    assert [f"{wall:%H:%M}" for wall, _, _ in brute_force(shop, date(2026, 3, 29))] == ["00:00", "02:00", "03:00"]


def test_a_slot_named_by_its_time_is_the_one_of_the_list_and_no_other_time_has_one() -> None:
    week = tuple(Hours(day, time(0), time(12), 2, date(2026, 1, 1)) for day in range(7))
    counter = Counter(zone="Europe/London", hours=(*week, Hours(3, time(13), time(0), 1, date(2026, 1, 1))))
    found = 0
    for day in (date(2026, 3, 28), date(2026, 3, 29), date(2026, 10, 24), date(2026, 10, 25), date(2026, 11, 26)):
        listed = {(one.local, one.fold): one for one in slots_on(counter, day)}
        for minute in range(0, 24 * 60, 5):
            for fold in (0, 1):
                local = datetime.combine(day, time(minute // 60, minute % 60))
                try:
                    one = slot_at(counter, local, fold)
                except Invalid:
                    assert (local, fold) not in listed
                    continue
                assert one == listed[local, fold]
                found += 1
    assert found > 250

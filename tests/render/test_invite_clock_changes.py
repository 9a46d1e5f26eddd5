"""Invites around every clock change of three zones from 2026 to 2028: the instants as published, in UTC."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from notify.core.hours import Counter, SpecialDay
from notify.core.slots import Slot, slots_on
from notify.render.calendar_file import Entry, entry_bytes
from notify.render.invite import invite_bytes
from tests.parts.content_lines import only, read_lines
from tests.parts.invites import an_invite

# Zone -> (hours ahead of UTC in winter, in summer, [(first instant of summer time, first of winter time) in UTC]).
# From the law: EU directive 2000/84 and the UK's Summer Time Order 2002, US Energy Policy Act 2005, New South Wales'
# Standard Time Act (Lord Howe moves half an hour at 02:00); the instants stand in the tz database as well, which the
# product reads and this test does not.
CHANGES: dict[str, tuple[float, float, list[tuple[str, str]]]] = {
    "Europe/London": (0, 1, [
        ("2026-03-29T01:00", "2026-10-25T01:00"), ("2027-03-28T01:00", "2027-10-31T01:00"),
        ("2028-03-26T01:00", "2028-10-29T01:00"),
    ]),
    "America/New_York": (-5, -4, [
        ("2026-03-08T07:00", "2026-11-01T06:00"), ("2027-03-14T07:00", "2027-11-07T06:00"),
        ("2028-03-12T07:00", "2028-11-05T06:00"),
    ]),
    "Australia/Lord_Howe": (10.5, 11, [
        ("2026-10-03T15:30", "2026-04-04T15:00"), ("2027-10-02T15:30", "2027-04-03T15:00"),
        ("2028-09-30T15:30", "2028-04-01T15:00"),
    ]),
}  # fmt: skip
EACH = [(zone, at, is_summer) for zone, (_, _, years) in CHANGES.items() for year in years
        for at, is_summer in zip(year, (True, False), strict=True)]  # fmt: skip


def expected(zone: str, change: datetime, *, to_summer: bool, day: date) -> list[tuple[datetime, datetime]]:
    """(wall time, instant) of every quarter of an hour of a day open from midnight to midnight.

    An instant before the change has the old offset, one from it on the new: so skipped wall times never come, and
    those of an hour that comes twice come twice.
    """
    winter, summer, _ = CHANGES[zone]
    old, new = (winter, summer) if to_summer else (summer, winter)
    found = []
    moment = datetime.combine(day, time(0), tzinfo=UTC) - timedelta(hours=14)
    for step in range(52 * 4):
        instant = moment + timedelta(minutes=15 * step)
        wall = (instant + timedelta(hours=old if instant < change else new)).replace(tzinfo=None)
        if wall.date() == day:
            found.append((wall, instant))
    return found


def offered(zone: str, day: date) -> list[Slot]:
    open_all_day = SpecialDay(day, opens=time(0), closes=time(0), capacity=1)
    return list(slots_on(Counter(zone, hours=(), special=(open_all_day,), slot_minutes=15), day))


def written(slot: Slot) -> set[str]:
    """The start of a slot as the invite and as the download have it."""
    made = datetime(2026, 1, 1, tzinfo=UTC)
    invite = invite_bytes(an_invite(start=slot.start, end=slot.end))
    entry = entry_bytes(Entry("x", 0, made, slot.start, slot.end, "x"))
    return {only(read_lines(octets), "DTSTART").raw for octets in (invite, entry)}


@pytest.mark.long
def test_every_slot_around_each_change_is_written_at_its_instant(tzdata_only: None) -> None:
    slots = wrong = twice = 0
    for zone, at, to_summer in EACH:
        change = datetime.fromisoformat(at).replace(tzinfo=UTC)
        middle = (change + timedelta(hours=CHANGES[zone][0])).date()
        for day in (middle - timedelta(days=1), middle, middle + timedelta(days=1)):
            want = expected(zone, change, to_summer=to_summer, day=day)
            got = offered(zone, day)
            assert [(slot.local, slot.start) for slot in got] == want, (zone, day)
            twice += len(want) - len({wall for wall, _ in want})
            for slot in got:
                slots += 1
                wrong += written(slot) != {f"DTSTART:{slot.start:%Y%m%dT%H%M%SZ}"}
    print(f"FIGURE C4_invites changes={len(EACH)} slots={slots} twice={twice} wrong={wrong}")
    assert wrong == 0 and len(EACH) == 18
    # Nine hours that come twice: four quarters in London and New York, two on Lord Howe.
    assert twice == 3 * (4 + 4 + 2)


@pytest.mark.parametrize(
    ("zone", "wall", "fold", "utc"),
    [
        ("Europe/London", datetime(2026, 10, 25, 1, 30), 0, "20261025T003000Z"),
        ("Europe/London", datetime(2026, 10, 25, 1, 30), 1, "20261025T013000Z"),
        ("America/New_York", datetime(2026, 11, 1, 1, 30), 0, "20261101T053000Z"),
        ("America/New_York", datetime(2026, 11, 1, 1, 30), 1, "20261101T063000Z"),
        ("Australia/Lord_Howe", datetime(2026, 4, 5, 1, 45), 0, "20260404T144500Z"),
        ("Australia/Lord_Howe", datetime(2026, 4, 5, 1, 45), 1, "20260404T151500Z"),
    ],
)
def test_a_wall_time_that_comes_twice_is_two_slots_with_an_invite_each(
    zone: str, wall: datetime, fold: int, utc: str, tzdata_only: None
) -> None:
    """The values of tests/vectors/calendar.json, D-02, D-06 and D-09."""
    [slot] = [one for one in offered(zone, wall.date()) if (one.local, one.fold) == (wall, fold)]
    assert written(slot) == {f"DTSTART:{utc}"}

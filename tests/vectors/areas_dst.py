"""Adapter for clock changes: wall times, moves by days, and what slots and invites make of them."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any

from notify.core.durations import Period, add, before, parse_duration
from notify.core.hours import Counter, SpecialDay
from notify.core.instants import exists, instant, is_ambiguous, local, reading, zone
from notify.core.slots import Slot, slots_on
from notify.render.invite import invite_bytes
from tests.parts.content_lines import only, read_lines
from tests.parts.invites import an_invite

Given = dict[str, Any]
_OCCURRENCE = re.compile(r"FREQ=YEARLY;BYMONTH=(\d+);BYDAY=(\d)SU")


def dst(given: Given | list[str], expect: Given) -> None:
    """One of six kinds of case, told by what is given."""
    if isinstance(given, list):
        _changes_of_the_year(given, expect)
    elif "local" in given:
        _wall_time(given, expect)
    elif "plus_days" in given:
        _same_wall_time(given, expect)
    elif "DTSTART_local" in given:
        _days_are_not_hours(given, expect)
    elif "if_emitting_VTIMEZONE" in given:
        _no_vtimezone_needed(given, expect)
    else:
        _never_all_day(given, expect)


def _changes_of_the_year(zones: list[str], expect: Given) -> None:
    """Every change of the offset in 2026, found by looking each half hour: instant, seconds before, seconds after."""
    half, first = timedelta(minutes=30), datetime(2026, 1, 1, tzinfo=UTC)
    for name in zones:
        offsets = [_seconds_ahead(first + step * half, name) for step in range(365 * 48)]
        found = [
            [f"{first + step * half:%Y-%m-%dT%H:%M:%SZ}", before, after]
            for step, (before, after) in enumerate(pairwise(offsets), 1)
            if before != after
        ]
        assert found == expect[name], found


def _seconds_ahead(moment: datetime, zone_name: str) -> int:
    ahead = local(moment, zone_name).utcoffset()
    assert ahead is not None
    return round(ahead.total_seconds())


def _wall_time(given: Given, expect: Given) -> None:
    wall, tz = datetime.fromisoformat(given["local"]), zone(given["zone"])
    kind = "ambiguous" if is_ambiguous(wall, tz) else "normal" if exists(wall, tz) else "gap"
    assert kind == expect["kind"]
    read = reading(wall, tz)
    assert read == _utc(expect["utc"])
    assert read.astimezone(tz).replace(tzinfo=None) == datetime.fromisoformat(expect["local_after_normalising"])
    assert wall.replace(tzinfo=tz).strftime("%z") == expect["offset_used"]
    if "other_reading_utc" in expect:
        assert reading(wall, tz, fold=1) == _utc(expect["other_reading_utc"])
    _offered(wall, given["zone"], expect)


def _offered(wall: datetime, zone_name: str, expect: Given) -> None:
    """What the slot list of a shop open all that day holds at that wall time."""
    whole_day = SpecialDay(wall.date(), opens=time(0), closes=time(0), capacity=1)
    counter = Counter(zone_name, hours=(), special=(whole_day,), slot_minutes=15)
    found = [slot for slot in slots_on(counter, wall.date()) if slot.local == wall]
    starts = [_utc(expect["utc"])]
    if expect["kind"] == "gap":
        assert expect["slot_generator"] == "must not offer this local time"
        starts = []
    elif expect["kind"] == "ambiguous":
        assert expect["slot_generator"].startswith("must store and send UTC")
        starts.append(_utc(expect["other_reading_utc"]))
    assert [slot.start for slot in found] == starts
    assert [slot.fold for slot in found] == list(range(len(starts)))
    for slot in found:
        assert instant(slot.local, zone(slot.zone), fold=slot.fold) == slot.start
        assert _sent_start(slot) == slot.start


def _sent_start(slot: Slot) -> datetime:
    lines = read_lines(invite_bytes(an_invite(start=slot.start, end=slot.end)))
    return _utc(only(lines, "DTSTART").value)


def _same_wall_time(given: Given, expect: Given) -> None:
    tz = zone(given["zone"])
    start = instant(datetime.fromisoformat(given["start_local"]), tz)
    assert start == _utc(expect["start_utc"])
    moved = add(start, Period(days=given["plus_days"]), zone_name=given["zone"])
    assert moved == _utc(expect["moved_utc"])
    assert moved.astimezone(tz).replace(tzinfo=None) == datetime.fromisoformat(expect["moved_local"])
    assert (moved - start) / timedelta(hours=1) == expect["elapsed_hours"]


def _days_are_not_hours(given: Given, expect: Given) -> None:
    start = instant(datetime.fromisoformat(given["DTSTART_local"]), zone(given["zone"]))
    for trigger, utc in expect.items():
        period = parse_duration(trigger.removeprefix("TRIGGER:-"))
        assert before(start, period, zone_name=given["zone"]) == _utc(utc), trigger


def _no_vtimezone_needed(given: Given, expect: Given) -> None:
    """Our invites carry none; the rule that a VTIMEZONE would have to state is held by our zone data."""
    wire = invite_bytes(an_invite())
    assert b"VTIMEZONE" not in wire and b"TZID" not in wire
    tz = zone(given["zone"])
    for part in ("DAYLIGHT", "STANDARD"):
        rule = expect[part]
        found = _OCCURRENCE.fullmatch(rule["RRULE"])
        assert found
        clock = datetime.strptime(rule["DTSTART_time_of_day"], "%H%M%S").time()  # noqa: DTZ007 - a wall clock
        wall = datetime.combine(_sunday(2027, int(found[1]), int(found[2])), clock)
        onset = (wall - _offset(rule["TZOFFSETFROM"])).replace(tzinfo=UTC)
        ahead = (onset - timedelta(seconds=1)).astimezone(tz).utcoffset()
        assert ahead == _offset(rule["TZOFFSETFROM"])
        assert onset.astimezone(tz).utcoffset() == _offset(rule["TZOFFSETTO"])


def _never_all_day(given: Given, expect: Given) -> None:
    assert expect["pickup_slot_may_use_it"] is False and expect["TZID_allowed"] is False
    lines = read_lines(invite_bytes(an_invite()))
    for name in ("DTSTART", "DTEND"):
        line = only(lines, name)
        assert not line.params and re.fullmatch(r"\d{8}T\d{6}Z", line.value)
    assert given["DTSTART"].startswith(";VALUE=DATE:")


def _sunday(year: int, month: int, nth: int) -> date:
    first = date(year, month, 1)
    return first + timedelta(days=(6 - first.weekday()) % 7 + 7 * (nth - 1))


def _offset(text: str) -> timedelta:
    minutes = int(text[1:3]) * 60 + int(text[3:5])
    return timedelta(minutes=-minutes if text[0] == "-" else minutes)


def _utc(text: str) -> datetime:
    return datetime.strptime(text, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


AREAS = {"dst": dst}

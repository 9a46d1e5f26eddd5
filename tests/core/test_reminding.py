"""When a pickup is reminded of, against times worked out by hand; clock changes never move the hours between.

Clock changes: IANA tz database. How early, how late and how near is common practice, no source.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from notify.core.reminding import awake_in, remind_at
from notify.core.telling_hours import ALWAYS, parse_week

USUAL = parse_week("mon-sun 08:00-21:00")
SUNDAYS_LATE = parse_week("mon-sat 08:00-21:00; sun 10:00-20:00")
LONDON, NEW_YORK, SYDNEY = "Europe/London", "America/New_York", "Australia/Sydney"
LONG_AGO = timedelta(days=3)


def wall(zone: str, text: str, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=fold)


# zone, week, hours ahead, slot, when it was chosen ("" = days before), the reminder ("" = none); all on the wall.
BY_HAND = [
    (LONDON, USUAL, 3, "2026-11-26T14:00", "", "2026-11-26T11:00"),
    (LONDON, USUAL, 3, "2026-11-26T11:00", "", "2026-11-26T08:00"),
    (LONDON, USUAL, 3, "2026-11-26T10:00", "", "2026-11-26T08:00"),  # an hour late, and two are left
    (LONDON, USUAL, 3, "2026-11-26T09:00", "", "2026-11-25T20:00"),  # only one would be left: the evening before
    (LONDON, USUAL, 24, "2026-11-26T09:00", "", "2026-11-25T09:00"),
    (LONDON, SUNDAYS_LATE, 3, "2026-11-29T10:15", "", "2026-11-28T20:00"),  # Saturday evening
    (LONDON, SUNDAYS_LATE, 3, "2026-11-30T09:00", "", "2026-11-29T19:00"),  # Sunday's evening ends at 20:00
    (LONDON, ALWAYS, 3, "2026-11-26T09:00", "", "2026-11-26T06:00"),
    # Chosen when the evening was nearly over: the morning, while it is still of use; half an hour later it is not.
    (LONDON, USUAL, 3, "2026-11-26T09:00", "2026-11-25T20:30", "2026-11-26T08:00"),
    (LONDON, USUAL, 3, "2026-11-26T08:15", "2026-11-25T20:30", ""),
    (LONDON, USUAL, 3, "2026-11-26T09:00", "2026-11-26T07:30", ""),
    (LONDON, USUAL, 3, "2026-11-26T14:00", "2026-11-26T10:30", ""),  # chosen shortly before: they know
    (LONDON, USUAL, 3, "2026-11-26T14:00", "2026-11-26T09:59", "2026-11-26T11:00"),
    # Clocks go forward at 01:00 on 28 March 2027: three real hours before 05:00 it is 02:00.
    (LONDON, ALWAYS, 3, "2027-03-28T05:00", "", "2027-03-28T02:00"),
    (LONDON, ALWAYS, 3, "2027-03-28T03:30", "", "2027-03-27T23:30"),
    (LONDON, USUAL, 24, "2027-03-28T14:00", "", "2027-03-27T13:00"),
    (LONDON, USUAL, 3, "2027-03-28T09:00", "", "2027-03-27T20:00"),
    # Back at 02:00 on 25 October 2026 (London), 1 November 2026 (New York), forward on 4 October 2026 (Sydney).
    (LONDON, USUAL, 24, "2026-10-25T14:00", "", "2026-10-24T15:00"),
    (NEW_YORK, USUAL, 24, "2026-11-01T12:00", "", "2026-10-31T13:00"),
    (NEW_YORK, USUAL, 3, "2026-11-01T09:00", "", "2026-10-31T20:00"),
    (SYDNEY, USUAL, 24, "2026-10-04T12:00", "", "2026-10-03T11:00"),
    (SYDNEY, USUAL, 3, "2026-10-04T09:00", "", "2026-10-03T20:00"),
    (LONDON, USUAL, 3, "2028-02-29T09:00", "", "2028-02-28T20:00"),
    (LONDON, USUAL, 3, "2028-03-01T09:00", "", "2028-02-29T20:00"),
]


@pytest.mark.parametrize(("zone", "week", "hours", "slot", "chosen", "reminder"), BY_HAND)
def test_a_reminder_leaves_when_a_hand_worked_table_says_so(
    zone: str, week: object, hours: int, slot: str, chosen: str, reminder: str
) -> None:
    start = wall(zone, slot)
    made = wall(zone, chosen) if chosen else start - LONG_AGO
    found = remind_at(start, ahead=timedelta(hours=hours), changed=made, awake=awake_in([zone], week))  # type: ignore[arg-type]
    shown = found.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M") if found else ""
    assert shown == reminder


def test_a_reminder_is_never_after_the_slot_never_at_night_and_never_just_after_the_choice() -> None:
    cells = wrong = none = 0
    tz, awake = ZoneInfo(LONDON), awake_in([LONDON], USUAL)
    for day, quarter, hours, before in (
        (d, q, h, b) for d in range(-1, 3) for q in range(0, 96, 3) for h in (1, 3, 8, 24, 30) for b in (1, 5, 40, 90)
    ):
        start = wall(LONDON, "2027-03-28T00:00") + timedelta(days=day, minutes=15 * quarter)
        made = start.astimezone(ZoneInfo("UTC")) - timedelta(hours=before)
        found = remind_at(start, ahead=timedelta(hours=hours), changed=made, awake=awake)
        cells += 1
        none += found is None
        if found is None:
            continue
        clock = found.astimezone(tz)
        wrong += not (8 <= clock.hour < 21 and made + timedelta(hours=1) <= found <= start - timedelta(minutes=30))
    print(f"FIGURE reminders_at cells={cells} none={none} wrong={wrong}")
    assert wrong == 0 and none < cells / 2

"""Telling hours by weekday, the zones of a number, and who may be written to by night."""

from __future__ import annotations

import functools
from datetime import UTC, datetime, time, timedelta

import phonenumbers
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from phonenumbers.timezone import time_zones_for_geographical_number, time_zones_for_number

from notify.core.errors import Invalid
from notify.core.instants import zone
from notify.core.notices import CUSTOMER_NOTICES, NOTICES, SHOP_NOTICES
from notify.core.number_zones import zones_of
from notify.core.quiet import Decent, decent_at, first_awake
from notify.core.telling_hours import WEEKDAYS, parse_week, week_around
from notify.core.urgency import STILL_AWAKE, URGENCY, Urgency, waits_for_decent_hour

pytestmark = pytest.mark.usefixtures("tzdata_only")

# What was written -> (weekday, clock, awake): typed by hand from the meaning of the words.
READ = [
    ("mon-sat 08:00-21:00; sun 10:00-20:00", [("sat", "20:59", True), ("sat", "21:00", False), ("sun", "09:59", False),
                                              ("sun", "10:00", True), ("mon", "08:00", True), ("mon", "07:59", False)]),
    ("mon,wed 08:00-12:00,14:00-18:00", [("mon", "12:00", False), ("mon", "14:00", True), ("tue", "09:00", False),
                                         ("wed", "13:59", False), ("wed", "17:59", True)]),
    ("fri 18:00-02:00", [("fri", "17:59", False), ("fri", "23:59", True), ("sat", "01:59", True),
                         ("sat", "02:00", False), ("thu", "23:00", False)]),
    ("sat-mon 09:00-24:00", [("sat", "23:59", True), ("sun", "00:00", False), ("mon", "09:00", True),
                             ("tue", "10:00", False)]),
    ("mon-sun 00:00-24:00", [(day, clock, True) for day in WEEKDAYS for clock in ("00:00", "12:00", "23:59")]),
    ("mon–fri 08:00—21:00", [("fri", "08:00", True), ("sat", "12:00", False), ("mon", "21:00", False)]),
    (" MON-Fri   08:00-21:00 ; ", [("fri", "08:00", True), ("sat", "12:00", False)]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "moments"), READ)
def test_telling_hours_are_read_as_they_are_written(text: str, moments: list[tuple[str, str, bool]]) -> None:
    week = parse_week(text)
    for day, clock, awake in moments:
        wall = datetime.combine(datetime(2026, 11, 23) + timedelta(days=WEEKDAYS.index(day)), time.fromisoformat(clock))
        assert week.is_awake(wall) is awake, (day, clock)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("", "No telling hours"), (";", "No telling hours"), ("mon", "'mon'"), ("monday 08:00-21:00", "'monday'"),
        ("mon-xyz 08:00-21:00", "'xyz'"), ("mon 8:00-21:00", "'8:00-21:00'"), ("mon 08:00-25:00", "'08:00-25:00'"),
        ("mon 08:00", "'08:00'"), ("mon 24:00-03:00", "'24:00-03:00'"), ("mon 08:00-08:00", "begins when it ends"),
        ("mon 08:00-12:00,11:00-13:00", "overlap on mon"), ("sun 22:00-03:00; mon 02:00-08:00", "overlap on mon"),
        ("mon-wed 08:00-12:00; tue 14:00-15:00", "tue is named twice"), ("mon,mon 08:00-12:00", "mon is named twice"),
        ("08:00-21:00", "no days"), ("mon 08:00-21:00 sun 08:00-21:00", "no span"), ("mon, 08:00-09:00", "''"),
    ],
)  # fmt: skip
def test_telling_hours_that_cannot_be_meant_are_refused_with_what_is_wrong(text: str, names: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_week(text)
    assert names in str(refused.value) and refused.value.field == "telling_hours"


ZONES = ["Europe/London", "America/New_York", "Africa/Cairo", "Asia/Kathmandu"]
CHANGES = [datetime(2026, 3, 29, 1), datetime(2026, 10, 25, 1), datetime(2026, 4, 23, 22), datetime(2026, 11, 1, 6)]
WRITTEN = [
    "mon-sat 08:00-21:00; sun 10:00-20:00",
    "fri-sun 18:00-02:00; mon 10:00-12:00",
    "wed 00:00-24:00",
    "sun 01:30-02:30",
]


@given(
    near=st.sampled_from(CHANGES), minutes=st.integers(min_value=-4000, max_value=4000), text=st.sampled_from(WRITTEN),
    zones=st.lists(st.sampled_from(ZONES), min_size=1, max_size=2),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_the_first_awake_instant_is_what_walking_minute_by_minute_finds(
    near: datetime, minutes: int, text: str, zones: list[str]
) -> None:
    """The walk knows weekdays from the text alone; clocks change on whole minutes in these zones and years."""
    now = near.replace(tzinfo=UTC) + timedelta(minutes=minutes)
    spans = _spans(text)

    def awake(moment: datetime) -> bool:
        walls = [moment.astimezone(zone(name)) for name in zones]
        return all((w.weekday(), w.hour, w.minute) in spans for w in walls)

    walked = now
    while not awake(walked) and walked - now < timedelta(days=8):
        walked += timedelta(minutes=1)
    if walked - now < timedelta(days=8):
        assert first_awake(now, zones, parse_week(text)) == walked


@functools.cache
def _spans(text: str) -> frozenset[tuple[int, int, int]]:
    """Every minute of every span, written out: weekday, hour, minute."""
    out: set[tuple[int, int, int]] = set()
    for rule in text.split("; "):
        days, hours = rule.split()
        first, _, last = days.partition("-")
        start, end = hours.split("-")
        for ahead in range((WEEKDAYS.index(last or first) - WEEKDAYS.index(first)) % 7 + 1):
            at = datetime(2026, 11, 23) + timedelta(days=WEEKDAYS.index(first) + ahead)
            begin = at + timedelta(hours=int(start[:2]), minutes=int(start[3:]))
            length = (int(end[:2]) * 60 + int(end[3:]) - int(start[:2]) * 60 - int(start[3:])) % 1440 or 1440
            minutes = (begin + timedelta(minutes=n) for n in range(length))
            out.update((m.weekday(), m.hour, m.minute) for m in minutes)
    return frozenset(out)


NUMBERS = [
    "+447911123456",
    "+12125550123",
    "+390612345678",
    "+61491570156",
    "+79161234567",
    "+64211234567",
    "+18005550100",
]


@pytest.mark.parametrize("number", NUMBERS)
def test_the_zones_of_a_number_are_those_of_the_numbering_data(number: str) -> None:
    known = phonenumbers.parse(number)
    found = time_zones_for_number(known)
    wanted = found if found != ("Etc/Unknown",) else time_zones_for_geographical_number(known)
    assert zones_of(number) == tuple(sorted(wanted)) and wanted


def test_a_number_for_drama_has_its_countrys_zones_and_what_is_no_number_has_none() -> None:
    assert "Europe/London" in zones_of("+447700900123") and "Europe/London" in zones_of("+441632960123")
    assert zones_of("") == zones_of("07700") == zones_of("+9999") == ()


EVERY_DAY = week_around(time(21), time(8))


def decent(hour: int, number: str, *, shop: str = "Europe/London") -> tuple[datetime, str]:
    got: Decent = decent_at(datetime(2026, 11, 25, hour, tzinfo=UTC), shop_zone=shop, other_zones=zones_of(number),
                            week=EVERY_DAY)  # fmt: skip
    return got.at, got.how


def test_a_number_of_another_country_is_written_to_when_both_places_are_awake() -> None:
    """Sums by hand: London UTC+0, New York UTC-5, Auckland UTC+13, Sydney +11 to Perth +8 in November 2026."""
    day = datetime(2026, 11, 25, tzinfo=UTC)
    assert decent(12, "+447700900123") == (day.replace(hour=12), "")
    assert decent(6, "+447700900123") == (day.replace(hour=8), "shop")
    assert decent(9, "+12125550123") == (day.replace(hour=13), "everywhere")  # 8:00 in New York
    assert decent(14, "+12125550123") == (day.replace(hour=14), "")
    assert decent(9, "+64211234567") == (day.replace(hour=19), "everywhere")  # 8:00 of the next day in Auckland
    assert decent(12, "+61491570156") == (day.replace(day=26, hour=8), "everywhere")  # Lord Howe sleeps from 10:00 on


def test_a_number_of_half_the_world_is_written_to_when_most_of_its_places_are_awake_and_the_shop_is() -> None:
    at, how = decent(12, "+18005550100")
    assert how == "mostly" and EVERY_DAY.is_awake(at.astimezone(zone("Europe/London")))
    places = [zone(name) for name in zones_of("+18005550100")]
    awake = {
        hour: len({p.utcoffset(m) for p in places if EVERY_DAY.is_awake(m.astimezone(p))})
        for hour in range(8, 21) for m in [datetime(2026, 11, 25, hour, tzinfo=UTC)]
    }  # fmt: skip
    assert awake[at.hour] == max(awake.values()) and at.minute == 0
    again = decent_at(at, shop_zone="Europe/London", other_zones=zones_of("+18005550100"), week=EVERY_DAY)
    assert again.at == at, "when the hour has come, it has come"


def test_each_notice_waits_answers_or_is_urgent_as_the_table_says() -> None:
    """Typed by hand from what each is about: only what the customer just did, and the shop's own, leave by night."""
    answers = {
        "pickup_confirmed",
        "pickup_moved",
        "pickup_cancelled",
        "stop_confirmed",
        "start_confirmed",
        "help_answer",
    }
    wanted = {name: Urgency.ANSWERS if name in answers else Urgency.WAITS for name in CUSTOMER_NOTICES}
    wanted |= dict.fromkeys(SHOP_NOTICES, Urgency.URGENT)
    # Somebody waits for the code; a warning is of use only before the thief comes.
    wanted |= dict.fromkeys(
        ("contact_code", "contact_changed_old", "link_replaced", "request_news", "forget_soon"), Urgency.URGENT
    )
    assert wanted == URGENCY and set(URGENCY) == set(NOTICES)


def test_an_answer_leaves_by_night_only_when_the_customer_caused_it_a_moment_ago() -> None:
    now = datetime(2026, 11, 25, 23, 30, tzinfo=UTC)

    def waits(notice: str, by: str, ago: timedelta) -> bool:
        return waits_for_decent_hour(notice, caused_by=by, caused_at=now - ago, now=now)

    moment = timedelta(seconds=5)
    assert not waits("pickup_confirmed", "customer", moment) and not waits("pickup_confirmed", "customer", STILL_AWAKE)
    assert waits("pickup_confirmed", "customer", STILL_AWAKE + moment)
    assert all(waits("pickup_confirmed", by, moment) for by in ("staff", "system", "source", ""))
    assert waits("ready", "customer", moment) and not waits("answer_shop", "staff", timedelta(days=1))
    assert not waits("stop_confirmed", "", moment)

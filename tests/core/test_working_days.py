"""Working days against numpy's calendar, and arrivals against worked-out cases of holidays and clock changes."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.core.hours import Counter, Hours
from notify.core.working_days import (
    MOST_DAYS,
    Supplier,
    WorkingDays,
    arrival,
    check_mask,
    count,
    handed_in,
    late,
    late_by,
    nearest,
    parse_closed,
    sent_on,
    shifted,
)  # fmt: skip
from tests.vectors.cases import FOLDER

pytestmark = pytest.mark.usefixtures("tzdata_only")
CASES = {case["id"]: case for case in json.loads((FOLDER / "forecast.json").read_text("utf-8"))["cases"]}
# Each of them is ready as soon as the part came and the repair took its constant minutes.
ARRIVALS = ("F06", "F07", "F08", "F09", "F10", "F16", "F20", "F21")
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAYS = st.dates(date(2024, 1, 1), date(2028, 12, 31))


def counter(zone: str = "Europe/London", days: str = "111111", **more: Any) -> Counter:
    rows = tuple(
        Hours(weekday=day, opens=time(9), closes=time(18), capacity=1, valid_from=date(2020, 1, 1))
        for day, sign in enumerate(days) if sign == "1"
    )  # fmt: skip
    return Counter(zone=zone, hours=rows, **more)


def usual(**more: Any) -> Supplier:
    habits: dict[str, Any] = {"zone": "Europe/London", "cutoff": time(16), "delivers_at": time(10)}
    return Supplier(**(habits | more))


@given(st.integers(1, 127), st.sets(DAYS, max_size=12), DAYS, st.integers(-40, 40), st.booleans(), st.integers(0, 200))
@settings(max_examples=200, deadline=None)
def test_days_are_rolled_shifted_and_counted_as_numpy_does(
    mask: int, closed: set[date], day: date, number: int, back: bool, ahead: int
) -> None:
    signs, until = f"{mask:07b}", day + timedelta(days=ahead)
    ours = WorkingDays(signs, closed=frozenset(list(closed)[::2]), holidays=frozenset(list(closed)[1::2]))
    theirs = np.busdaycalendar(weekmask=signs, holidays=sorted(closed))
    rolled = nearest(ours, day, back=back)
    assert rolled == np.busday_offset(day, 0, roll="backward" if back else "forward", busdaycal=theirs).item()
    assert shifted(ours, rolled, number) == np.busday_offset(rolled, number, busdaycal=theirs).item()
    assert count(ours, day, until) == np.busday_count(day, until, busdaycal=theirs)
    assert (day in ours) == np.is_busday(day, busdaycal=theirs)
    assert count(ours, until, day) == 0 or ahead == 0


@pytest.mark.parametrize("name", ARRIVALS)
def test_a_part_arrives_when_the_worked_out_case_says(name: str) -> None:
    given_, expect = CASES[name]["given"], CASES[name]["expect"]["ready"]
    [job] = [one for one in given_["jobs"] if "part" in one]
    ready = datetime.fromisoformat(expect[job["id"]]) - timedelta(minutes=job["duration"]["min"])
    asked = given_["suppliers"]["S1"]
    supplier = Supplier(
        zone=asked["tz"], cutoff=time.fromisoformat(asked["cutoff"]), delivers_at=time.fromisoformat(asked["delivery"]),
        days=job["part"]["L"], redelivers=asked.get("redeliver", False),
        working=WorkingDays(holidays=frozenset(map(date.fromisoformat, asked.get("holidays", ())))),
    )  # fmt: skip
    closed = frozenset(map(date.fromisoformat, given_["shop"].get("closed", ())))
    open_on = "".join("1" if day in given_["shop"]["hours"] else "0" for day in WEEK)
    shop = counter(given_["shop"]["tz"], open_on, closed=closed)
    assert arrival(supplier, datetime.fromisoformat(job["part"]["ordered_at"]), shop) == ready


@pytest.mark.parametrize(
    ("zone", "ordered", "here"),
    [
        ("Europe/Berlin", "2026-03-27T12:00:00+01:00", "2026-03-30T08:00:00+00:00"),  # IANA: Berlin springs 29 March
        ("Europe/London", "2026-10-23T12:00:00+01:00", "2026-10-26T10:00:00+00:00"),  # IANA: London falls 25 October
        ("Australia/Lord_Howe", "2026-10-02T12:00:00+10:30", "2026-10-04T23:00:00+00:00"),  # IANA: half an hour
    ],
)
def test_the_hour_of_a_delivery_stays_on_the_wall_over_a_change_of_clocks(zone: str, ordered: str, here: str) -> None:
    found = arrival(usual(zone=zone), datetime.fromisoformat(ordered), counter(zone))
    assert found == datetime.fromisoformat(here)
    assert found.astimezone(ZoneInfo(zone)).time() == time(10)


def test_what_is_delivered_the_same_day_comes_the_next_one_when_its_hour_is_past() -> None:
    same_day = usual(days=0)
    early, late_ = datetime(2026, 11, 25, 9, 59, tzinfo=UTC), datetime(2026, 11, 25, 10, tzinfo=UTC)
    assert arrival(same_day, early, counter()) == datetime(2026, 11, 25, 10, tzinfo=UTC)
    assert arrival(same_day, late_, counter()) == datetime(2026, 11, 26, 10, tzinfo=UTC)


def test_a_supplier_without_an_hour_comes_at_ten_and_one_without_cut_off_sends_until_midnight() -> None:
    bare = Supplier(zone="Europe/London")
    assert sent_on(bare, datetime(2026, 11, 25, 23, 59, 59, tzinfo=UTC)) == date(2026, 11, 25)
    assert arrival(bare, datetime(2026, 11, 25, 23, tzinfo=UTC), counter()) == datetime(2026, 11, 26, 10, tzinfo=UTC)


def test_a_box_comes_again_only_when_that_was_agreed_and_not_for_ever() -> None:
    monday = datetime(2026, 11, 30, 10, tzinfo=UTC)
    shut_mondays = counter(days="011111")
    assert handed_in(usual(redelivers=True), monday, shut_mondays) == monday + timedelta(days=1)
    assert handed_in(usual(), monday, shut_mondays) == monday
    assert handed_in(usual(redelivers=True), monday, counter(days="000000")) == monday
    evenings = usual(redelivers=True, delivers_at=time(20))
    assert handed_in(evenings, monday.replace(hour=20), counter()) == monday.replace(hour=20)


@given(st.integers(0, 6), st.integers(0, 6), st.integers(0, 23), st.booleans())
@settings(max_examples=60, deadline=None)
def test_what_comes_so_many_days_late_is_counted_so_many_days_late_and_never_earlier(
    day: int, number: int, hour: int, redelivers: bool
) -> None:
    due = datetime(2026, 12, 21 + day, hour, 15, tzinfo=UTC)
    supplier = usual(redelivers=redelivers, working=WorkingDays(closed=frozenset({date(2026, 12, 24)})))
    shop = counter(closed=frozenset({date(2026, 12, 25)}))
    here = late(supplier, due, number, shop)
    assert here >= (late(supplier, due, number - 1, shop) if number else due)
    if not redelivers:
        assert late_by(supplier, due, here, shop) == number
        assert late_by(supplier, due, here + timedelta(minutes=5), shop) - number in (0, 1)
    assert late_by(supplier, due, due - timedelta(days=9), shop) == 0


@pytest.mark.parametrize("mask", ["0000000", "11111", "1111102", "", "mon-fri"])
def test_a_week_without_a_working_day_or_of_another_length_is_refused(mask: str) -> None:
    with pytest.raises(Invalid) as refused:
        WorkingDays(mask)
    assert refused.value.field == "working_days" and refused.value.advice
    with pytest.raises(Invalid):
        check_mask(mask)


def test_a_calendar_on_which_nothing_is_open_for_four_hundred_days_is_refused_in_words() -> None:
    first = date(2026, 11, 25)
    closed = frozenset(first + timedelta(days=ahead) for ahead in range(400))
    never = usual(working=WorkingDays(closed=closed))
    with pytest.raises(Invalid, match="no working day in 400 days"):
        arrival(never, datetime(2026, 11, 25, 9, tzinfo=UTC), counter())
    just = usual(working=WorkingDays(closed=closed - {max(closed)}), days=0)
    assert sent_on(just, datetime(2026, 11, 25, 9, tzinfo=UTC)) == max(closed)


@pytest.mark.parametrize("days", [-1, MOST_DAYS + 1])
def test_a_delivery_of_absurd_length_is_refused(days: int) -> None:
    with pytest.raises(Invalid, match="working days"):
        usual(days=days)


def test_closed_days_stand_once_in_order_and_not_without_end() -> None:
    day = date(2026, 12, 24)
    assert parse_closed([day, date(2026, 1, 2), day]) == (date(2026, 1, 2), day)
    with pytest.raises(Invalid, match="closed days"):
        parse_closed(day + timedelta(days=ahead) for ahead in range(401))

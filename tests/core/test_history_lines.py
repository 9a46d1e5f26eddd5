"""Cells of a shop's history: ISO 8601 and the two other usual orders, clock changes, and what nobody can mean."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from time import process_time as time_spent
from zoneinfo import ZoneInfo

import pytest

from notify.core.errors import Invalid
from notify.core.history import Reader, digest
from notify.core.hours import Counter, Hours

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
BERLIN = ZoneInfo("Europe/Berlin")
COUNTER = Counter("Europe/Berlin", tuple(Hours(n, time(9), time(18), 1, date(2000, 1, 1)) for n in range(6)))


def reader(dates: str = "iso") -> Reader:
    return Reader(COUNTER, BERLIN, now=NOW, dates=dates)


# The two instants at which Berlin's clocks change in 2026 are those of the tz database (29 March and 25 October, 01:00
# UTC); the forms with T, Z and offsets are those of ISO 8601 and RFC 3339.
@pytest.mark.parametrize(
    ("text", "utc", "is_day"),
    [
        ("2026-11-24", "2026-11-24T11:00", True), ("2026-11-24 14:30", "2026-11-24T13:30", False),
        ("2026-11-24T14:30:15", "2026-11-24T13:30:15", False), ("2026-11-24T14:30Z", "2026-11-24T14:30", False),
        ("2026-11-24T14:30+05:30", "2026-11-24T09:00", False), ("20261124", "2026-11-24T11:00", True),
        ("2026-03-29 02:30", "2026-03-29T01:00", False), ("2026-10-25 02:30", "2026-10-25T00:30", False),
        ("2026-07-01 00:00", "2026-06-30T22:00", False),
    ],
)  # fmt: skip
def test_iso_times_are_read_by_the_shops_clock(text: str, utc: str, is_day: bool) -> None:
    found = reader().when(text, "ended")
    assert (found.at, found.is_day) == (datetime.fromisoformat(utc).replace(tzinfo=UTC), is_day)


@pytest.mark.parametrize(
    ("order", "text"),
    [("dmy", "3.2.2026 14:30"), ("dmy", "03/02/2026 14:30"), ("dmy", "03-02-2026  14:30:00"),
     ("mdy", "2/3/2026 14:30")],
)  # fmt: skip
def test_the_shops_order_of_day_and_month_decides(order: str, text: str) -> None:
    assert reader(order).when(text, "ended").at == datetime(2026, 2, 3, 13, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ("iso", ""), ("iso", "yesterday"), ("iso", "24.11.2026"), ("iso", "2026-13-01"), ("iso", "2026-02-30"),
        ("iso", "9999-12-31"), ("iso", "9999-12-31T23:59:59-12:00"), ("iso", "0001-01-01"), ("iso", "1979-12-31"),
        ("iso", "2026-11-27"), ("iso", "٢٠٢٦-11-24"), ("iso", "2" * 5000), ("dmy", "2026-11-24"),
        ("dmy", "31.2.2026"), ("dmy", "1.13.2026"), ("mdy", "13/1/2026"), ("dmy", "1.1.26"), ("dmy", "1.1.2026 25:00"),
        ("dmy", "1.1.9999"), ("dmy", "=NOW()"),
    ],
)  # fmt: skip
def test_what_is_no_day_is_refused_without_quoting_it(order: str, text: str) -> None:
    with pytest.raises(Invalid) as refused:
        reader(order).when(text, "ended")
    assert len(str(refused.value)) < 120 and (not text or text not in str(refused.value))


@pytest.mark.parametrize(("text", "minutes"), [("45", 45), ("45.5", 45.5), (" 24,75 ", 24.75), ("960", 960), ("1", 1)])
def test_minutes_are_read_with_either_decimal_sign(text: str, minutes: float) -> None:
    assert reader().minutes(text) == minutes


@pytest.mark.parametrize(
    "text",
    ["", "abc", "-4", "1e308", "NaN", "inf", "0", "0.5", "961", "1_0", "٤٥", "45 min", "1:05", "=1+1", "9" * 9000],
)
def test_what_is_no_number_of_minutes_is_refused(text: str) -> None:
    with pytest.raises(Invalid):
        reader().minutes(text)


def between(started: str, ended: str) -> float:
    read = reader()
    return read.between(read.when(started, "started"), read.when(ended, "ended"))


def test_from_beginning_to_end_counts_the_clock_within_a_day_and_open_hours_beyond_it() -> None:
    assert between("2026-11-24 19:00", "2026-11-24 19:40") == 40  # after closing, and somebody worked
    assert between("2026-11-23 17:30", "2026-11-24 09:20") == 50
    assert between("2026-03-29 01:30", "2026-03-29 03:30") == 60  # the hour that Berlin left out


def test_months_between_beginning_and_end_cost_a_file_of_many_lines_little() -> None:
    read = reader()
    spans = [(f"2026-09-{1 + n % 20:02} 09:{n % 60:02}", f"2026-10-29 10:{n % 60:02}") for n in range(2000)]
    began = time_spent()
    for started, ended in spans:
        with pytest.raises(Invalid, match="1 to 960 minutes"):
            read.between(read.when(started, "started"), read.when(ended, "ended"))
    took = time_spent() - began
    print(f"FIGURE history_long_spans lines={len(spans)} cpu={took:.3f}")
    assert took < 0.8  # with each day's hours worked out for each line 1.6 s


@pytest.mark.parametrize(
    ("started", "ended"),
    [
        ("2026-11-24 10:00", "2026-11-24 10:00"), ("2026-11-24 10:00", "2026-11-24 09:00"),
        ("2026-11-24", "2026-11-24 09:00"), ("2026-01-01 10:00", "2026-11-24 10:00"),
        ("2026-11-22 10:00", "2026-11-22 10:00:30"), ("2026-11-20 09:00", "2026-11-24 17:00"),
    ],
)  # fmt: skip
def test_a_beginning_and_an_end_that_cannot_be_meant_are_refused(started: str, ended: str) -> None:
    with pytest.raises(Invalid):
        between(started, ended)


def test_lines_are_told_apart_by_all_they_say_and_days_by_their_number_in_the_file() -> None:
    day, hour = reader().when("2026-11-24", "ended"), reader().when("2026-11-24 12:00", "ended")
    assert day.at == hour.at
    assert digest("a", 20, day, 1) != digest("a", 20, day, 2) != digest("a", 20, hour, 1)
    assert digest("a", 20, hour, 1) == digest("a", 20, hour, 2)
    assert len({digest(kind, minutes, hour, 1) for kind in "ab" for minutes in (20, 20.5)}) == 4

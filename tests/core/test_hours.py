"""Opening hours as spans of UTC time."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from notify.core.errors import Invalid
from notify.core.hours import Counter, Hours, SpecialDay, is_open, next_opening, open_spans, rows_on
from notify.core.instants import is_ambiguous, zone

pytestmark = pytest.mark.usefixtures("tzdata_only")

SINCE = date(2026, 1, 1)
MONDAY = date(2026, 11, 23)


def row(weekday: int, opens: int, closes: int, *, since: date = SINCE, until: date | None = None) -> Hours:
    return Hours(weekday, time(opens), time(closes % 24), 2, since, until)


def counter(
    *hours: Hours, zone_name: str = "Europe/London", closed: tuple[date, ...] = (), special: tuple[SpecialDay, ...] = ()
) -> Counter:
    return Counter(zone_name, hours, frozenset(closed), special)


def spans(shop: Counter, day: date) -> list[str]:
    return [f"{span.start_utc:%d %H:%M}-{span.end_utc:%d %H:%M}" for span in open_spans(shop, day, day)]


def test_two_rows_of_the_same_date_leave_a_lunch_break() -> None:
    shop = counter(row(0, 13, 17), row(0, 9, 12))
    assert spans(shop, MONDAY) == ["23 09:00-23 12:00", "23 13:00-23 17:00"]
    assert spans(shop, MONDAY + timedelta(days=1)) == []


def test_the_newest_rows_win_and_older_ones_return_when_they_end() -> None:
    shop = counter(row(0, 9, 12), row(0, 13, 17), row(0, 10, 14, since=MONDAY, until=MONDAY))
    assert spans(shop, MONDAY - timedelta(days=7)) == ["16 09:00-16 12:00", "16 13:00-16 17:00"]
    assert spans(shop, MONDAY) == ["23 10:00-23 14:00"]
    assert spans(shop, MONDAY + timedelta(days=7)) == ["30 09:00-30 12:00", "30 13:00-30 17:00"]


def test_before_the_first_row_is_valid_the_shop_is_closed() -> None:
    assert spans(counter(row(0, 9, 12)), date(2025, 12, 29)) == []


def test_special_hours_win_over_the_weekly_row_and_a_closed_day_over_both() -> None:
    special = SpecialDay(MONDAY, time(18), time(0), 1)
    assert spans(counter(row(0, 9, 12), special=(special,)), MONDAY) == ["23 18:00-24 00:00"]
    shut = counter(row(0, 9, 12), special=(special,), closed=(MONDAY,))
    assert spans(shut, MONDAY) == [] and rows_on(shut, MONDAY) == ()


def test_a_span_until_midnight_joins_the_next_day() -> None:
    shop = counter(row(0, 20, 24), row(1, 0, 2))
    assert is_open(shop, datetime(2026, 11, 23, 23, 59, 59, tzinfo=UTC))
    assert is_open(shop, datetime(2026, 11, 24, 0, 0, tzinfo=UTC))
    assert not is_open(shop, datetime(2026, 11, 24, 2, 0, tzinfo=UTC))


def test_a_repeated_opening_is_its_first_occurrence_and_a_repeated_closing_its_last() -> None:
    sunday = date(2026, 10, 25)
    special = SpecialDay(sunday, time(1), time(1, 30), 1)
    assert spans(counter(special=(special,)), sunday) == ["25 00:00-25 01:30"]


def test_a_skipped_opening_or_closing_is_the_instant_of_the_jump() -> None:
    sunday = date(2026, 3, 29)
    opening = SpecialDay(sunday, time(1, 30), time(3), 1)
    closing = SpecialDay(sunday, time(0), time(1, 30), 1)
    inside = SpecialDay(sunday, time(1, 10), time(1, 50), 1)
    assert spans(counter(special=(opening,)), sunday) == ["29 01:00-29 02:00"]
    assert spans(counter(special=(closing,)), sunday) == ["29 00:00-29 01:00"]
    assert spans(counter(special=(inside,)), sunday) == []


def test_spans_that_touch_in_a_repeated_hour_do_not_overlap() -> None:
    sunday = date(2026, 10, 25)
    shop = counter(special=(SpecialDay(sunday, time(0), time(1, 30), 1), SpecialDay(sunday, time(1, 30), time(5), 1)))
    assert spans(shop, sunday) == ["24 23:00-25 01:30", "25 01:30-25 05:00"]


def test_a_closed_day_stays_closed_where_midnight_itself_comes_twice() -> None:
    """The Azores set clocks back at 01:00 on 25 October 2026, so 00:00 to 01:00 comes twice (tzdata)."""
    saturday, sunday, azores = date(2026, 10, 24), date(2026, 10, 25), "Atlantic/Azores"
    assert is_ambiguous(datetime.combine(sunday, time(0)), zone(azores))
    shop = counter(row(5, 20, 24), row(6, 0, 2), zone_name=azores, closed=(sunday,))
    assert spans(shop, saturday) == ["24 20:00-25 00:00"]
    assert not is_open(shop, datetime(2026, 10, 25, 0, 30, tzinfo=UTC))


def test_next_opening_is_now_while_open_and_else_the_next_span() -> None:
    shop = counter(row(0, 9, 12), row(0, 13, 17), closed=(date(2026, 11, 30),))
    inside, lunch = datetime(2026, 11, 23, 9, 30, tzinfo=UTC), datetime(2026, 11, 23, 12, 0, tzinfo=UTC)
    assert next_opening(shop, inside) == inside
    assert next_opening(shop, lunch) == lunch.replace(hour=13)
    assert next_opening(shop, lunch.replace(hour=17)) == datetime(2026, 12, 7, 9, 0, tzinfo=UTC)


def test_a_shop_without_hours_never_opens() -> None:
    assert next_opening(counter(), datetime(2026, 11, 23, tzinfo=UTC)) is None
    with pytest.raises(Invalid, match="without a zone"):
        next_opening(counter(), datetime(2026, 11, 23))


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: row(7, 9, 12), "weekday"),
        (lambda: row(0, 12, 9), "closes"),
        (lambda: row(0, 9, 9), "closes"),
        (lambda: row(0, 9, 12, until=date(2025, 1, 1)), "valid_until"),
        (lambda: Hours(0, time(9), time(12), -1, SINCE), "capacity"),
        (lambda: SpecialDay(MONDAY, time(22), time(2), 1), "closes"),
        (lambda: counter(row(0, 9, 13), row(0, 12, 17)), "opens"),
        (lambda: counter(row(0, 9, 24), row(0, 12, 17)), "opens"),
        (lambda: counter(zone_name="Quillhaven"), "zone"),
        (lambda: Counter("Europe/London", (), slot_minutes=0), "slot_minutes"),
        (lambda: Counter("Europe/London", (), horizon_days=-1), "horizon_days"),
        (lambda: Counter("Europe/London", (), lead_minutes=-1), "horizon_days"),
    ],
)
def test_hours_that_make_no_sense_are_refused_at_their_field(make: object, field: str) -> None:
    assert callable(make)
    with pytest.raises(Invalid) as refused:
        make()
    assert refused.value.field == field

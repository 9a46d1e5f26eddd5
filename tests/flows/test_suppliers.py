"""Suppliers with a calendar of their own: when a part is due, how late they were, and calendars that cannot be."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.errors import Invalid
from notify.flows import parts, set_up
from notify.flows.view_settings import Supplier, view
from notify.store import schema

pytestmark = pytest.mark.long  # together some seconds of one core
NAME = "Breakwater Parts"
# A calendar that cannot be, and the field that says so.
WRONG: tuple[tuple[dict[str, Any], str], ...] = (
    ({"working_days": "0000000"}, "working_days"),
    ({"working_days": "mon"}, "working_days"),
    ({"zone": "Europe/Quillhaven"}, "zone"),
    ({"holidays_of": "Quillhaven"}, "holidays_of"),
    ({"closed_days": [date(2026, 11, 25) + timedelta(days=n) for n in range(401)]}, "closed_days"),
    ({"closed_days": [date(2026, 11, 25) + timedelta(days=n) for n in range(400)]}, "working_days"),
    ({"days": 366}, "supplier"),
    ({"name": " "}, "supplier"),
)


def put(house: Any, **habits: Any) -> str:
    whole: dict[str, Any] = {"name": NAME, "cutoff": time(16), "delivers_at": time(10), "days": 1} | habits
    return set_up.put_supplier(house.ctx, house.actor(), **whole)


def ordered(house: Any, *names: str, **due: Any) -> list[str]:
    ticket_id = house.check_in().ticket_ids[0]
    found = [parts.need(house.ctx, house.actor(), ticket_id, name=name) for name in names or ("cone",)]
    for part in found:
        parts.order(house.ctx, house.actor(), part, supplier=NAME, **due)
    return found


def due_of(house: Any, part_id: str) -> datetime:
    t = schema.parts
    with house.read() as unit:
        found = unit.connection.execute(select(t.c.due_at).where(t.c.shop_id == unit.shop_id, t.c.id == part_id))
        return found.scalar_one()  # type: ignore[no-any-return]


def at(house: Any, day: int, hour: int, minute: int = 0, second: int = 0, month: int = 11) -> None:
    """Moves the clock; London is on UTC from November on."""
    house.clock.set(datetime(2026, month, day, hour, minute, second, tzinfo=UTC))


def stands(house: Any) -> Supplier:
    [found] = view(house.ctx, house.actor()).suppliers
    return found


def stamp(house: Any) -> str:
    with house.read() as unit:
        return str(unit.connection.execute(select(schema.shops.c.changed)).scalar_one())


def test_an_order_at_the_very_minute_of_the_cut_off_keeps_it_and_a_second_later_does_not(house: Any) -> None:
    put(house)
    for second, day in ((0, 26), (1, 27)):
        at(house, 25, 16, 0, second)
        assert due_of(house, *ordered(house)) == datetime(2026, 11, day, 10, tzinfo=UTC)


def test_christmas_passes_without_deliveries_where_the_supplier_keeps_it(house: Any) -> None:
    """gov.uk: 25 December (Friday) and 28 December (Monday, instead of Saturday the 26th) are holidays in England."""
    put(house, holidays_of="gb-eng", working_days="1111110", closed_days=[date(2026, 12, 29)])
    at(house, 24, 12, month=12)
    # The package has Saturday the 26th as a holiday too, so the supplier's first working day is Wednesday.
    assert due_of(house, *ordered(house)) == datetime(2026, 12, 30, 10, tzinfo=UTC)
    put(house, holidays_of="", closed_days=[])
    assert due_of(house, *ordered(house)) == datetime(2026, 12, 25, 10, tzinfo=UTC)
    assert stands(house).holidays_of == "" and stands(house).working_days == "1111110"


def test_the_cut_off_counts_on_the_suppliers_clock_and_the_delivery_on_the_shops(house: Any) -> None:
    put(house, zone="Europe/Berlin")
    at(house, 25, 15, 30)  # 16:30 in Berlin
    assert due_of(house, *ordered(house)) == datetime(2026, 11, 27, 10, tzinfo=UTC)


def test_a_box_that_finds_the_shop_shut_comes_again_where_that_was_agreed(house: Any) -> None:
    put(house, working_days="1111111", redelivers=True)
    at(house, 28, 12)  # a Saturday; the shop is shut on Sundays
    assert due_of(house, *ordered(house)) == datetime(2026, 11, 30, 10, tzinfo=UTC)


def test_parcels_teach_how_late_their_supplier_is_once_each(house: Any) -> None:
    put(house)
    first = ordered(house, "cone", "coil", "dial")  # one box, due on Thursday the 26th at 10:00
    at(house, 26, 10, 20)
    for part in first[:2]:
        parts.arrive(house.ctx, house.actor(), part)
    assert stands(house).delays == (1, 0, 0, 0, 0)
    at(house, 30, 11)
    parts.arrive(house.ctx, house.actor(), first[2])  # was left in the box: no news of the supplier
    assert stands(house).delays == (1, 0, 0, 0, 0)
    [late], [later] = ordered(house, due=date(2026, 12, 1)), ordered(house, due=date(2026, 12, 2))
    at(house, 3, 9, 30, month=12)
    parts.arrive(house.ctx, house.actor(), late)
    at(house, 11, 9, 30, month=12)
    parts.arrive(house.ctx, house.actor(), later)
    assert stands(house).delays == (1, 0, 1, 0, 1)


def test_a_part_is_as_late_as_the_last_time_that_was_named_for_it(house: Any) -> None:
    put(house)
    [part] = ordered(house)
    parts.change_due(house.ctx, house.actor(), part, due=date(2026, 11, 27))
    at(house, 27, 9, 30)
    parts.arrive(house.ctx, house.actor(), part)
    assert stands(house).delays == (1, 0, 0, 0, 0)


def test_a_box_that_stood_before_a_shut_door_is_not_late(house: Any) -> None:
    put(house, working_days="1111111")
    [part] = ordered(house, due=date(2026, 11, 29))  # a Sunday
    at(house, 30, 9, 30)
    parts.arrive(house.ctx, house.actor(), part)
    assert stands(house).delays == (1, 0, 0, 0, 0)


def test_a_part_without_a_supplier_teaches_nothing(house: Any) -> None:
    put(house)
    part = parts.need(house.ctx, house.actor(), house.check_in().ticket_ids[0], name="cone")
    parts.arrive(house.ctx, house.actor(), part)
    assert stands(house).delays == ()


def test_a_calendar_that_cannot_be_is_refused_with_its_field_and_changes_nothing(house: Any) -> None:
    put(house, closed_days=[date(2026, 12, 24)])
    before = stands(house)
    for wrong, field in WRONG:
        with pytest.raises(Invalid) as refused:
            put(house, **wrong)
        assert refused.value.field == field and refused.value.advice, wrong
    assert stands(house) == before


def test_another_calendar_gives_the_shop_another_stamp_and_what_is_not_named_stays(house: Any) -> None:
    stamps = [stamp(house)]
    put(house, zone="Europe/Berlin", working_days="1111110", closed_days=[date(2026, 12, 24)], redelivers=True)
    stamps.append(stamp(house))
    before = stands(house)
    put(house, days=2)
    stamps.append(stamp(house))
    after = stands(house)
    assert (after.days, after.zone, after.working_days) == (2, "Europe/Berlin", "1111110")
    assert after.closed_days == before.closed_days == ("2026-12-24",) and after.redelivers
    set_up.drop_supplier(house.ctx, house.actor(), after.id)
    stamps.append(stamp(house))
    assert len(set(stamps)) == 4

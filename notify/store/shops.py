"""Shops, their dated settings, opening hours, special days, suppliers and who works there."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from sqlalchemy import bindparam, delete, insert, select, update

from notify.core.errors import NotFound
from notify.core.holidays import HolidaysOf
from notify.core.hours import Counter, Hours, SpecialDay
from notify.core.shop import Shop, build_shop
from notify.store import schema as s
from notify.store.database import Database, T, Unit
from notify.store.statements import given, where

_STAMP = select(s.shops.c.changed).where(s.shops.c.id == bindparam("the_shop_id"))
_CHANGED = update(s.shops).where(s.shops.c.id == bindparam("the_shop_id"))
_SETTINGS = (
    select(s.shop_settings.c.key, s.shop_settings.c.value)
    .where(*where(s.shop_settings), s.shop_settings.c.valid_from <= bindparam("today"))
    .order_by(s.shop_settings.c.valid_from)
)
_HOURS = select(s.hours).where(*where(s.hours)).order_by(s.hours.c.weekday, s.hours.c.valid_from, s.hours.c.opens)
_SUPPLIERS = select(s.suppliers).where(*where(s.suppliers)).order_by(s.suppliers.c.name)
_SPECIAL = select(s.special_days).where(*where(s.special_days)).order_by(s.special_days.c.day, s.special_days.c.opens)


def shop_ids(db: Database) -> tuple[str, ...]:
    """The identifiers of every shop of this installation, oldest first."""
    with db.engine.connect() as connection:
        return tuple(connection.execute(select(s.shops.c.id).order_by(s.shops.c.created_at)).scalars())


def add_shop(unit: Unit, *, at: datetime) -> None:
    """Makes the row of the unit's shop."""
    unit.connection.execute(insert(s.shops).values(id=unit.shop_id, created_at=at, changed=unit.new_id()))


def remembered(unit: Unit, name: str, load: Callable[[], T], *, on: date | None = None) -> T:
    """What `load` gives, read anew only after the shop was changed: every page and message needs it.

    The stamp is read in each transaction and no two changes share one, so that what another process changed counts
    at once, and what was rolled back never does.
    """
    stamp = unit.stamp = unit.stamp or unit.connection.execute(_STAMP, given(unit)).scalar()
    if stamp is None:
        raise NotFound("There is no such shop", "Check the shop's identifier.")
    at, found = unit.kept.get((unit.shop_id, name), ("", None))
    if at != f"{stamp} {on}":
        at, found = unit.kept[unit.shop_id, name] = (f"{stamp} {on}", load())
    return found  # type: ignore[no-any-return]  # what the last `load` of this name gave


def note_change(unit: Unit) -> None:
    """Gives the shop another stamp: settings, hours, suppliers, kinds or absences are not what they were."""
    unit.stamp = None
    unit.connection.execute(_CHANGED, {**given(unit), "changed": unit.new_id()})


def get_shop(unit: Unit, *, today: date) -> Shop:
    """The shop as set on `today`; raises NotFound for an unknown shop."""
    return remembered(unit, "shop", lambda: _read_shop(unit, today), on=today)


def _read_shop(unit: Unit, today: date) -> Shop:
    rows = unit.connection.execute(_SETTINGS, {**given(unit), "today": today})
    return build_shop(unit.shop_id, {row.key: row.value for row in rows})


def put_settings(unit: Unit, values: Mapping[str, Any], *, valid_from: date) -> None:
    """Writes settings that count from `valid_from`; a second write for the same day replaces the first."""
    t = s.shop_settings
    for key, value in values.items():
        same = (t.c.shop_id == unit.shop_id, t.c.key == key, t.c.valid_from == valid_from)
        unit.connection.execute(delete(t).where(*same))
        unit.connection.execute(insert(t).values(shop_id=unit.shop_id, key=key, valid_from=valid_from, value=value))
    note_change(unit)


def get_counter(unit: Unit, shop: Shop) -> Counter:
    """The counter's hours with closed and special days, ready for core/hours and core/slots."""
    of_it, made = remembered(unit, "counter", lambda: (_dated(shop), _read_counter(unit, shop)))
    return made if of_it == _dated(shop) else _read_counter(unit, shop)


def _dated(shop: Shop) -> tuple[Any, ...]:
    """The settings that go into a counter; another one may count tomorrow without any change."""
    return shop.zone, shop.slot_minutes, shop.lead_minutes, shop.horizon_days, shop.holidays_of


def _read_counter(unit: Unit, shop: Shop) -> Counter:
    days = special_days(unit)
    return Counter(
        zone=shop.zone,
        hours=tuple(row for _, row in list_hours(unit)),
        closed=frozenset(day.day for _, day, _ in days if day.opens is None and not day.as_usual),
        as_usual=frozenset(day.day for _, day, _ in days if day.as_usual),
        holidays=HolidaysOf(shop.holidays_of, unit.almanac) if shop.holidays_of else frozenset(),
        special=tuple(
            SpecialDay(day=row.day, opens=row.opens, closes=row.closes, capacity=row.capacity)
            for _, row, _ in days
            if row.opens is not None
        ),
        slot_minutes=shop.slot_minutes,
        lead_minutes=shop.lead_minutes,
        horizon_days=shop.horizon_days,
    )


def list_hours(unit: Unit) -> tuple[tuple[str, Hours], ...]:
    """Every opening-hours row with its identifier, in week order."""
    rows = unit.connection.execute(_HOURS, given(unit))
    return tuple(
        (
            row.id,
            Hours(
                weekday=row.weekday,
                opens=row.opens,
                closes=row.closes,
                capacity=row.capacity,
                valid_from=row.valid_from,
                valid_until=row.valid_until,
            ),
        )
        for row in rows
    )


def add_hours(unit: Unit, row: Hours) -> str:
    """Adds one opening-hours row; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.hours).values(
            shop_id=unit.shop_id,
            id=new,
            weekday=row.weekday,
            opens=row.opens,
            closes=row.closes,
            capacity=row.capacity,
            valid_from=row.valid_from,
            valid_until=row.valid_until,
        )
    )
    note_change(unit)
    return new


def drop_hours(unit: Unit, hours_id: str) -> None:
    """Removes one opening-hours row; raises NotFound when it is not there."""
    t = s.hours
    gone = unit.connection.execute(delete(t).where(t.c.shop_id == unit.shop_id, t.c.id == hours_id)).rowcount
    if not gone:
        raise NotFound("There is no such row of opening hours", "Look at the list again.")
    note_change(unit)


def special_days(unit: Unit) -> tuple[tuple[str, Any, str], ...]:
    """(identifier, row with day opens closes capacity as_usual, reason) in order.

    A closed day has `opens` None and is not `as_usual`.
    """
    rows = unit.connection.execute(_SPECIAL, given(unit))
    return tuple((row.id, row, row.reason) for row in rows)


def add_special_day(
    unit: Unit, day: date, *, opens: time | None, closes: time | None, capacity: int, reason: str,
    as_usual: bool = False,
) -> str:  # fmt: skip
    """Adds special hours, closes the day when `opens` is None, or opens a holiday `as_usual`; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.special_days).values(
            shop_id=unit.shop_id,
            id=new,
            day=day,
            opens=opens,
            closes=closes,
            capacity=capacity,
            reason=reason,
            as_usual=as_usual,
        )
    )
    note_change(unit)
    return new


def drop_special_day(unit: Unit, special_id: str) -> None:
    """Removes a special or closed day; raises NotFound when it is not there."""
    t = s.special_days
    gone = unit.connection.execute(delete(t).where(t.c.shop_id == unit.shop_id, t.c.id == special_id)).rowcount
    if not gone:
        raise NotFound("There is no such special day", "Look at the list again.")
    note_change(unit)


def list_suppliers(unit: Unit) -> tuple[Any, ...]:
    """Every supplier row, by name; `suppliers.habits_of` makes of one what core reckons with."""
    return unit.once(("suppliers", ""), lambda: tuple(unit.connection.execute(_SUPPLIERS, given(unit))))


def find_supplier(unit: Unit, name_or_id: str) -> Any:
    """A supplier by identifier or name; raises NotFound."""
    for row in list_suppliers(unit):
        if name_or_id in (row.id, row.name):
            return row
    raise NotFound(f"There is no supplier {name_or_id[:60]!r}", "Add it under settings first.", field="supplier")


def put_supplier(
    unit: Unit, name: str, *, cutoff: time | None, delivers_at: time | None, days: int, zone: str, working_days: str,
    closed_days: Sequence[date], holidays_of: str, redelivers: bool,
) -> str:  # fmt: skip
    """Adds a supplier, or changes the one of that name; its identifier."""
    t = s.suppliers
    values = {
        "cutoff": cutoff, "delivers_at": delivers_at, "days": days, "zone": zone, "working_days": working_days,
        "closed_days": [day.isoformat() for day in closed_days], "holidays_of": holidays_of, "redelivers": redelivers,
    }  # fmt: skip
    note_change(unit)
    found = unit.connection.execute(select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.name == name)).scalar()
    if found:
        unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == found).values(**values))
        return str(found)
    new = unit.new_id()
    unit.connection.execute(insert(t).values(shop_id=unit.shop_id, id=new, name=name, delays=[], **values))
    return new


def supplier_is_named(unit: Unit, supplier_id: str) -> bool:
    """Whether any part, of whatever age, names this supplier."""
    t = s.parts
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.supplier_id == supplier_id).limit(1)
    return unit.connection.execute(query).first() is not None


def drop_supplier(unit: Unit, supplier_id: str) -> None:
    """Removes a supplier; raises NotFound when it is not there."""
    t = s.suppliers
    gone = unit.connection.execute(delete(t).where(t.c.shop_id == unit.shop_id, t.c.id == supplier_id)).rowcount
    if not gone:
        raise NotFound("There is no such supplier", "Look at the list again.", field="supplier")
    note_change(unit)

"""Suppliers beside their rows (store/shops.py): their habits as core reckons with them, and how late they came."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import func, select, update

from notify.core.holidays import HolidaysOf
from notify.core.working_days import Supplier, WorkingDays
from notify.store import schema as s
from notify.store.database import Unit


def habits_of(unit: Unit, row: Any, *, zone: str) -> Supplier:
    """The habits of a row of `shops.list_suppliers`; `zone` is the shop's, where the supplier has none of its own."""
    return Supplier(
        zone=row.zone or zone, cutoff=row.cutoff, delivers_at=row.delivers_at, days=row.days, redelivers=row.redelivers,
        working=WorkingDays(
            mask=row.working_days, closed=frozenset(map(date.fromisoformat, row.closed_days)),
            holidays=HolidaysOf(row.holidays_of, unit.almanac) if row.holidays_of else frozenset(),
        ),
    )  # fmt: skip


def put_delays(unit: Unit, supplier_id: str, delays: Sequence[int]) -> None:
    """Keeps how often the supplier's parcels came on their day, or 1, 2, 3 and more working days later."""
    t = s.suppliers
    unit.connection.execute(
        update(t).where(t.c.shop_id == unit.shop_id, t.c.id == supplier_id).values(delays=list(delays))
    )


def parcel_came(unit: Unit, part: Any) -> int | None:
    """How late the parcel was counted that this supplier was to bring at the same instant, if another part of it is
    here: their delay is one delay. None while no other is here.
    """
    t = s.parts
    query = select(func.coalesce(t.c.late_days, 0)).where(
        t.c.shop_id == unit.shop_id, t.c.supplier_id == part.supplier_id, t.c.due_at == part.due_at,
        t.c.arrived_at.is_not(None), t.c.id != part.id,
    )  # fmt: skip
    return unit.connection.execute(query.limit(1)).scalar()

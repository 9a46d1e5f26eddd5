"""Looking for places goes through the indexes of what stands, or of when it starts, however long the story is."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import insert, text

from notify.store import bookings, schema
from notify.store.database import Unit
from tests.store.test_outbox_indexes import first_select

PAST, COMING = 100_000, 2_000


def fill(house: Any, visit: str) -> None:
    """Bookings of many years, in SQL of the database's own, since a hundred thousand by hand take a minute."""
    now, is_sqlite = house.clock(), house.ctx.db.is_sqlite
    row = {"visit_id": visit, "person_id": visit, "zone": "Europe/London", "local_start": "2026-11-26T10:00", "fold": 0,
           "seat": 0, "state": "kept", "revision": 0, "made_at": now, "changed_at": now, "invited": False,
           "reminded": False, "shop_id": house.shop_id}  # fmt: skip
    with house.ctx.db.write(house.shop_id) as unit:
        for first in range(0, PAST, 5000):
            starts = (now - timedelta(minutes=15 * n) for n in range(first + 1, first + 5001))
            rows = [row | names(at) for at in starts]
            unit.connection.execute(insert(schema.bookings), rows)
        visits = [str(uuid4()) for _ in range(COMING)]
        opened = [{"shop_id": house.shop_id, "id": one, "waits_here": False, "opened_at": now} for one in visits]
        unit.connection.execute(insert(schema.visits), opened)
        coming = [row | names(now + timedelta(minutes=15 * n)) | {"visit_id": one, "state": "booked"}
                  for n, one in enumerate(visits)]  # fmt: skip
        unit.connection.execute(insert(schema.bookings), coming)
    with house.ctx.db.alone() as connection:
        connection.execute(text("analyze" if is_sqlite else "analyze bookings"))


def names(at: Any) -> dict[str, Any]:
    return {"id": str(uuid4()), "uid": str(uuid4()), "organizer_token": uuid4().hex, "start_at": at,
            "end_at": at + timedelta(minutes=15)}  # fmt: skip


def plan(unit: Unit, work: Callable[[], Any], *, is_sqlite: bool) -> str:
    """How the database would find it, in its own words (sqlite.org/eqp.html, PostgreSQL's EXPLAIN)."""
    statement, values = first_select(unit, work)
    how = "explain query plan" if is_sqlite else "explain"
    rows = unit.connection.exec_driver_sql(f"{how} {statement}", values)
    return "\n".join(str(row[3 if is_sqlite else 0]) for row in rows)


@pytest.mark.deep  # filling the table takes a minute on PostgreSQL
def test_places_are_found_through_an_index_in_a_long_story(house: Any) -> None:
    done, now = house.check_in(), house.clock()
    fill(house, done.visit_id)
    ahead = now + timedelta(days=60)
    looks: dict[str, Callable[[Unit], Any]] = {
        "occupied": lambda unit: bookings.occupied(unit, now, ahead),
        "bookings_between": lambda unit: bookings.bookings_between(unit, now, ahead),
        "live_booking": lambda unit: bookings.live_booking(unit, done.visit_id),
        "a slot": lambda unit: bookings.occupied(unit, now, now + timedelta(minutes=15)),
    }
    with house.read() as unit:
        plans = {name: plan(unit, lambda: look(unit), is_sqlite=house.ctx.db.is_sqlite)  # noqa: B023
                 for name, look in looks.items()}  # fmt: skip
    through = {name: any(index in found for index in ("uq_bookings_place", "uq_bookings_live", "ix_bookings_start"))
               for name, found in plans.items()}  # fmt: skip
    print(f"FIGURE booking_indexes database={house.ctx.db.engine.dialect.name} past={PAST} coming={COMING} "
          f"looks={len(plans)} through_an_index={sum(through.values())}")  # fmt: skip
    assert all(through.values()), plans
    assert not any("Seq Scan" in found or "SCAN" in found for found in plans.values()), plans

"""Looking for free places in a long story: what a shop of ten years pays for its past."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import insert, text

from notify.flows import pickup, set_up
from notify.store import schema
from tests.bench.bookings import A_DAY, stage
from tests.bench.line import Figure, alternate, compare
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.parts.postgres import DURABLE, Cluster, Databases


def figures(*, past: int, coming: int, rounds: int, looks: int) -> list[Figure]:
    """`free_places_*`: what is free in the next sixty days, in a shop with a long story and in one with none."""
    cluster = Cluster(**DURABLE).start()
    databases = Databases(cluster.server(), cluster=cluster)
    try:
        databases.fill_template(lambda url: None)
        urls = [databases.url(databases.create()) for _ in range(2)]
        return [
            _measure(pair, past=past, coming=coming, rounds=rounds, looks=looks) for pair in (("", ""), tuple(urls))
        ]
    finally:
        databases.close()


def _measure(urls: Sequence[str], *, past: int, coming: int, rounds: int, looks: int) -> Figure:
    with ExitStack() as stack:
        folders = [Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="shelfbell-bench-"))) for _ in urls]
        old, new = (
            stack.enter_context(house_on(folder, Nothing(), url=url)) for folder, url in zip(folders, urls, strict=True)
        )
        old_look, new_look = (_looking(house, _open(house, coming), looks) for house in (old, new))
        _past(old, past)
        pairs = alternate(rounds, old_look, new_look)
    ratio, ours, theirs = compare(pairs, unit="ms")
    against = "the same look in a shop that has no bookings but the coming ones"
    more = {"past": past, "coming": coming}
    name = f"free_places_{'postgresql' if urls[0] else 'sqlite'}"
    return Figure(name, ratio, 1.2, against, looks * rounds, ours, theirs, higher=False, more=more)


def _open(house: House, coming: int) -> str:
    """A shop with `coming` places taken in the next weeks; the visit that looks."""
    set_up.change_settings(house.ctx, house.actor(), {"horizon_days": 60})
    _coming(house, coming)
    return stage(house, 1)[0]


def _looking(house: House, visit: str, looks: int) -> Callable[[int], float]:
    def look(_: int) -> float:
        began = time.perf_counter()
        for _n in range(looks):
            assert pickup.offers(house.ctx, house.customer(), visit)
        return (time.perf_counter() - began) / looks * 1000

    return look


def _coming(house: House, n: int) -> None:
    """One place of the first `n` slots of the coming days is taken, each by a visit of its own."""
    times = _open_quarters(house.clock() + timedelta(days=1), n, step=1)
    visits = _visits(house, n)
    with house.ctx.db.write(house.shop_id) as unit:
        rows = [_row(house, visit, at, "booked") for visit, at in zip(visits, times, strict=True)]
        unit.connection.execute(insert(schema.bookings), rows)
    _settle_down(house)


def _visits(house: House, n: int) -> list[str]:
    """Visits that are nothing but what a booking names."""
    made = [str(uuid4()) for _ in range(n)]
    with house.ctx.db.write(house.shop_id) as unit:
        opened = [
            {"shop_id": house.shop_id, "id": one, "waits_here": False, "opened_at": house.clock()} for one in made
        ]
        unit.connection.execute(insert(schema.visits), opened)
    return made


def _past(house: House, n: int) -> None:
    """`n` bookings of the years before, most of them kept."""
    visit = _visits(house, 1)[0]
    states = ("kept", "kept", "kept", "cancelled", "missed")
    times = _open_quarters(house.clock() - timedelta(days=1), n, step=-1)
    with house.ctx.db.write(house.shop_id) as unit:
        for first in range(0, n, 5000):
            rows = [_row(house, visit, at, states[number % 5]) for number, at in enumerate(times[first : first + 5000])]
            unit.connection.execute(insert(schema.bookings), rows)
    _settle_down(house)


def _settle_down(house: House) -> None:
    """As a database is in the morning: its journal moved over, its statistics taken."""
    house.ctx.db.checkpoint(truncate=True)
    with house.ctx.db.alone() as connection:
        connection.execute(text("analyze"))


def _open_quarters(day: datetime, n: int, *, step: int) -> list[datetime]:
    found: list[datetime] = []
    midnight = day.replace(hour=0, minute=0, second=0, microsecond=0)
    while len(found) < n:
        if midnight.weekday() < 6:
            found.extend(midnight + timedelta(hours=9, minutes=15 * quarter) for quarter in range(A_DAY))
        midnight += timedelta(days=step)
    return found[:n]


def _row(house: House, visit: str, at: datetime, state: str) -> dict[str, Any]:
    return {
        "shop_id": house.shop_id, "id": str(uuid4()), "visit_id": visit, "person_id": visit, "zone": "Europe/London",
        "local_start": f"{at:%Y-%m-%dT%H:%M}", "fold": 0, "start_at": at, "end_at": at + timedelta(minutes=15),
        "seat": 0, "state": state, "revision": 0, "uid": str(uuid4()), "organizer_token": uuid4().hex, "made_at": at,
        "changed_at": at, "invited": False, "reminded": False,
    }  # fmt: skip

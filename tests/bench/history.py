"""A shop's history of past repairs, read in and learned from, against the csv module and SQLAlchemy Core alone."""

from __future__ import annotations

import csv
import io
import random
import tempfile
import time
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import delete, func, insert, select

from notify.core.first_kinds import FIRST
from notify.flows import history, repair_kinds
from notify.store import repair_kinds as kind_rows
from notify.store import schema
from tests.bench.line import Figure, alternate, compare
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.parts.postgres import DURABLE, Cluster, Databases

AGAINST = (
    "csv.reader over the same text, float() and datetime.fromisoformat(), uuid4, and SQLAlchemy Core executemany into "
    "the same table in transactions of as many lines; nothing checked, nothing recognised, nothing learned"
)
LATEST = datetime(2026, 11, 1)


def a_history(lines: int) -> str:
    """So many invented repairs of eight kinds, one a quarter of an hour."""
    chance = random.Random(5)
    names = [names["en"] for _, _, names in FIRST]
    rows = (
        f"{chance.choice(names)},{chance.lognormvariate(3.6, 0.4):.1f},{LATEST - timedelta(minutes=15 * n):%F %R}"
        for n in range(lines)
    )
    return "\n".join(["kind,minutes,ended", *rows])


def figures(*, lines: int, rounds: int) -> list[Figure]:
    """`history_sqlite` and `history_postgresql`: lines a second, learning included."""
    cluster = Cluster(**DURABLE).start()
    databases = Databases(cluster.server(), cluster=cluster)
    try:
        databases.fill_template(lambda url: None)
        return [_measure(url, lines=lines, rounds=rounds) for url in ("", databases.url(databases.create()))]
    finally:
        databases.close()


def _measure(url: str, *, lines: int, rounds: int) -> Figure:
    with (
        tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder,
        house_on(Path(folder), Nothing(), url=url) as house,
    ):
        repair_kinds.add_first(house.ctx, house.actor())
        text = a_history(lines)
        learned: list[int] = []

        def ours(_: int) -> float:
            _empty(house)
            began = time.perf_counter()
            read = history.read_history(house.ctx, house.actor(), text.encode())
            taken = time.perf_counter() - began
            assert (read.taken, read.refused) == (lines, 0)
            with house.read() as unit:
                learned.append(sum(row.learned for row in kind_rows.list_kinds(unit)))
            return lines / taken

        def theirs(_: int) -> float:
            _empty(house)
            began = time.perf_counter()
            _bare(house, text)
            taken = time.perf_counter() - began
            with house.read() as unit:
                assert unit.connection.execute(select(func.count()).select_from(schema.past_jobs)).scalar() == lines
            return lines / taken

        ratio, we, they = compare(alternate(rounds, ours, theirs), unit="lines/s")
    assert set(learned) == {lines}
    name = f"history_{'postgresql' if url else 'sqlite'}"
    return Figure(name, ratio, 0.3, AGAINST, lines * rounds, we, they, more={"lines": lines})


def _bare(house: House, text: str) -> None:
    with house.read() as unit:
        kinds = {row.name: row.id for row in kind_rows.list_kinds(unit)}
    reader = csv.reader(io.StringIO(text, newline=""))
    next(reader)
    rows = (_row(house.shop_id, kinds, cells) for cells in reader)
    while batch := list(islice(rows, history.BATCH)):
        with house.ctx.db.write(house.shop_id) as unit:
            unit.connection.execute(insert(schema.past_jobs), batch)


def _row(shop_id: str, kinds: dict[str, str], cells: list[str]) -> dict[str, Any]:
    return {
        "shop_id": shop_id, "id": str(uuid4()), "kind_id": kinds[cells[0]], "ticket_id": None,
        "minutes": float(cells[1]), "ended_at": datetime.fromisoformat(cells[2]).replace(tzinfo=UTC),
        "source": "import", "counts": True, "digest": None,
    }  # fmt: skip


def _empty(house: House) -> None:
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(delete(schema.past_jobs))
        kind_rows.put_sums(unit, [(row.id, 0, 0.0, 0.0) for row in kind_rows.list_kinds(unit)])

"""Looking somebody up by their number among very many people, and among a thousand."""

from __future__ import annotations

import os
import random
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from itertools import chain
from pathlib import Path
from uuid import uuid4

from sqlalchemy import insert, text

from notify.core.chunks import chunks
from notify.store import people
from notify.store import schema as s
from tests.bench.line import Figure, alternate, compare
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.parts.postgres import DURABLE, Cluster, Databases
from tests.store.test_booking_indexes import plan

NUMBERS = [f"+447700900{n:03d}" for n in range(1000)]  # Ofcom keeps these for plays and films
AGAINST = "the same looks, by the same numbers in the same order, among 1,000 people"
FEW = len(NUMBERS)


def figures(*, many: int, rounds: int, looks: int = 1000) -> list[Figure]:
    """`lookup_sqlite` and `lookup_postgresql`: so many people, or the environment's SHELFBELL_LOOKUP_PEOPLE."""
    many = int(os.environ.get("SHELFBELL_LOOKUP_PEOPLE", many))
    cluster = Cluster(**DURABLE).start()
    databases = Databases(cluster.server(), cluster=cluster)
    try:
        databases.fill_template(lambda url: None)
        urls = [databases.url(databases.create()) for _ in range(2)]
        return [_measure(pair, many=many, rounds=rounds, looks=looks) for pair in (("", ""), tuple(urls))]
    finally:
        databases.close()


def _measure(urls: Sequence[str], *, many: int, rounds: int, looks: int) -> Figure:
    with ExitStack() as stack:
        folders = [Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="shelfbell-bench-"))) for _ in urls]
        full, small = (
            stack.enter_context(house_on(folder, Nothing(), url=url)) for folder, url in zip(folders, urls, strict=True)
        )
        ours, theirs = (_looking(house, fill(house, n), looks) for house, n in ((full, many), (small, FEW)))
        probe = _probe(full)
        pairs = alternate(rounds, ours, theirs)
    ratio, us, them = compare(pairs, unit="us")
    name = f"lookup_{'postgresql' if urls[0] else 'sqlite'}"
    return Figure(name, ratio, 2.0, AGAINST, looks * rounds, us, them, higher=False,
                  more={"people": many, "plan": probe})  # fmt: skip


def _looking(house: House, owners: dict[str, str], looks: int) -> Callable[[int], float]:
    now = time.process_time if house.ctx.db.is_sqlite else time.perf_counter  # PostgreSQL works in processes of its own

    def look(turn: int) -> float:
        asked = random.Random(turn).choices(NUMBERS, k=looks)  # the same for both
        with house.read() as unit:
            began = now()
            found = [people.find_people(unit, "sms", number) for number in asked]
            took = now() - began
        assert found == [(owners[number],) for number in asked]
        return took / looks * 1e6

    return look


def _probe(house: House) -> str:
    """What the database says of how it looks; refuses to measure anything but one probe of the index."""
    with house.read() as unit:
        told = plan(unit, lambda: people.find_people(unit, "sms", NUMBERS[0]), is_sqlite=house.ctx.db.is_sqlite)
    lines = told.splitlines()
    assert "ix_contacts_lookup" in lines[0] and sum("contacts" in line for line in lines) == 1, told
    return lines[0].strip()


def fill(house: House, many: int) -> dict[str, str]:
    """So many people with a number each, of whom a thousand can be looked up: number -> person.

    The others' blind indexes are those of texts that are no numbers, and no address of anybody can be opened.
    """
    vault, at, owners = house.ctx.db.vault, house.clock(), dict[str, str]()
    key = vault.index_key().id
    with house.ctx.db.write(house.shop_id) as unit:
        for some in chunks(chain(NUMBERS, (f"nobody {n}" for n in range(many - FEW))), 10_000):
            ids = {number: str(uuid4()) for number in some}
            owners |= {number: ids[number] for number in some if number[0] == "+"}
            unit.connection.execute(insert(s.people), [
                {"shop_id": house.shop_id, "id": new, "language": "en", "created_at": at} for new in ids.values()
            ])  # fmt: skip
            unit.connection.execute(insert(s.contacts), [
                {"shop_id": house.shop_id, "id": str(uuid4()), "person_id": new, "channel": "sms", "created_at": at,
                 "address_sealed": b"\x01" * 42, "lookup": vault.lookup("sms", number), "lookup_key": key,
                 "in_repaired_device": False} for number, new in ids.items()
            ])  # fmt: skip
    house.ctx.db.checkpoint(truncate=True)
    with house.ctx.db.alone() as connection:
        connection.execute(text("analyze"))
    return owners

"""Reading many sealed contacts: against the bare driver and AES-GCM, one SELECT of each database on either side."""

from __future__ import annotations

import gc
import sqlite3
import tempfile
import time
from pathlib import Path

from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from notify.config.key_files import read_ring
from notify.store import people
from tests.bench.line import Figure, Side, alternate
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House

AGAINST = (
    "one SELECT by sqlite3 of everybody's contacts and one of everybody's keys, both opened by AES-GCM of the package "
    "cryptography, with nothing else around; ratio is our processor time / its, of all rounds together"
)


def figures(*, contacts: int, rounds: int) -> list[Figure]:
    """`vault_read`: so many people with a number each, all read in one transaction."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name, house_on(Path(name), Nothing()) as house:
        told = _fill(house, contacts)

        def ours(_: int) -> float:
            began = time.process_time()
            with house.read() as unit:
                found = {one: own[0].address for one, own in people.contacts_of_all(unit, told).items()}
            took = time.process_time() - began
            assert found == told
            return took

        plain = alternate(rounds, ours, lambda _: _bare(house, told))
        gc.freeze()  # as `serve` does with what it has imported (cli/server.py)
        pairs = alternate(rounds, ours, lambda _: _bare(house, told))
        gc.unfreeze()
    we, they = (sum(side) / rounds for side in zip(*pairs, strict=True))
    more = {"contacts": contacts, "us_each": round(we / contacts * 1e6, 1), "unfrozen_ratio": _ratio(plain)}
    return [Figure("vault_read", _ratio(pairs), 2.0, AGAINST, contacts * rounds, Side(we, "s"), Side(they, "s"),
                   higher=False, more=more)]  # fmt: skip


def _ratio(pairs: list[tuple[float, float]]) -> float:
    """Of the sums: what Python's collector takes of every third round or so is in it."""
    ours, theirs = map(sum, zip(*pairs, strict=True))
    return round(ours / theirs, 3)


def _fill(house: House, contacts: int) -> dict[str, str]:
    told = {}
    with house.ctx.db.write(house.shop_id) as unit:
        for n in range(contacts):
            person = people.add_person(unit, name="", language="en", at=house.clock())
            told[person] = f"+447700900{n % 1000:03d}"
            people.add_contact(unit, person, "sms", told[person], at=house.clock())
    return told


def _bare(house: House, told: dict[str, str]) -> float:
    (_, secret), *_ = read_ring(house.services.settings.keys.master_key_file)
    files = (str(house.ctx.db.engine.url.database), str(house.ctx.db.vault.engine.url.database))
    main, keys = (sqlite3.connect(file) for file in files)
    began = time.process_time()
    master, found, these = AESGCM(secret), {}, ", ".join("?" * len(told))
    wrapped = dict(keys.execute(f"select person_id, wrapped from data_keys where person_id in ({these})", [*told]))
    rows = main.execute(
        f"select id, person_id, address_sealed from contacts where shop_id = ? and person_id in ({these}) "
        "and replaced_at is null",
        [house.shop_id, *told],
    ).fetchall()
    for row, person, sealed in rows:
        own = wrapped[person]
        key = AESGCM(master.decrypt(own[:12], own[12:], person.encode()))
        found[person] = key.decrypt(sealed[1:13], sealed[13:], f"contacts\x00{row}\x00address".encode()).decode()
    took = time.process_time() - began
    main.close()
    keys.close()
    assert found == told
    return took

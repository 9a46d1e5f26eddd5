"""Reading sealed contacts: against the bare driver and AES-GCM, which ask for the same rows and open the same bytes."""

from __future__ import annotations

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
    "one prepared SELECT by sqlite3 for each person's contacts and one for each person's key, both opened by AES-GCM "
    "of the package cryptography, with nothing else around; ratio is our time / its time"
)


def figures(*, contacts: int, rounds: int) -> list[Figure]:
    """`vault_read`: so many people with a number each, all read in one transaction."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name, house_on(Path(name), Nothing()) as house:
        told = _fill(house, contacts)

        def ours(_: int) -> float:
            began = time.perf_counter()
            with house.read() as unit:
                unit.opener.fetch(told)  # as every list of the product does
                found = {one: people.contacts_of(unit, one)[0].address for one in told}
            took = time.perf_counter() - began
            assert found == told
            return took

        pairs = alternate(rounds, ours, lambda _: _bare(house, told))
    ratio = sorted(a / b for a, b in pairs)[len(pairs) // 2]
    we, they = (sorted(side)[len(pairs) // 2] for side in zip(*pairs, strict=True))
    more = {"contacts": contacts, "us_each": round(we / contacts * 1e6, 1)}
    return [Figure("vault_read", ratio, 2.0, AGAINST, contacts * rounds, Side(we, "s"), Side(they, "s"),
                   higher=False, more=more)]  # fmt: skip


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
    began = time.perf_counter()
    master, found = AESGCM(secret), {}
    for person in told:
        (wrapped,) = keys.execute("select wrapped from data_keys where person_id = ?", (person,)).fetchone()
        key = AESGCM(master.decrypt(wrapped[:12], wrapped[12:], person.encode()))
        row, sealed = main.execute(
            "select id, address_sealed from contacts where shop_id = ? and person_id = ? and replaced_at is null",
            (house.shop_id, person),
        ).fetchone()
        found[person] = key.decrypt(sealed[1:13], sealed[13:], f"contacts\x00{row}\x00address".encode()).decode()
    took = time.perf_counter() - began
    main.close()
    keys.close()
    assert found == told
    return took

"""A house whose keys are turned while somebody writes and reads; what opens and is found is counted from outside."""

from __future__ import annotations

import dataclasses
import hashlib
import hmac
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from sqlalchemy import select

from notify import wiring
from notify.config.key_files import read_ring
from notify.flows import keys
from notify.store import people
from notify.store import schema as s
from notify.store.key_store import data_keys
from tests.parts.house import House


class Killed(Exception):
    """What stands for a kill in the same process."""


@dataclass
class Turned:
    """The people that were written down, so that each can be asked for again."""

    house: House
    told: dict[str, tuple[str, str]] = field(default_factory=dict)  # person -> name, number

    @property
    def settings(self) -> Any:
        """The settings of the house."""
        return self.house.services.settings

    def file(self, kind: str) -> Path:
        """The key file of this kind."""
        named = self.settings.keys
        found: Path = named.master_key_file if kind == "master" else named.index_key_file
        return found

    def add(self, count: int, *, services: Any = None) -> None:
        """Some more people with a number each; noted only once they are committed."""
        ctx = (services or self.house.services).context
        for _ in range(count):
            n = len(self.told)
            name, number = f"Ines Farrow {n}", f"+447700900{n % 1000:03d}"
            with ctx.db.write(self.house.shop_id) as unit:
                person = people.add_person(unit, name=name, language="en", at=ctx.clock())
                people.add_contact(unit, person, "sms", number, at=ctx.clock())
            self.told[person] = (name, number)

    def unreadable(self, services: Any = None) -> int:
        """How many of those told can not be opened, or not be found by their number."""
        ctx, wrong = (services or self.house.services).context, 0
        with ctx.db.read(self.house.shop_id) as unit:
            for person, (name, number) in dict(self.told).items():
                found = [one.address for one in people.contacts_of(unit, person)]
                sees = people.get_person(unit, person).name == name and found == [number]
                wrong += not (sees and person in people.find_people(unit, "sms", number))
        return wrong

    def wrong_from_outside(self) -> int:
        """The same by AES-GCM and HMAC-SHA-256 of other hands: all must stand under the first line of each file."""
        (_, master), (index_id, index) = (read_ring(self.file(kind))[0] for kind in ("master", "index"))
        engine, wrong, c = self.house.ctx.db.vault.engine, 0, s.contacts
        with engine.connect() as connection:
            wrapped = {row.person_id: row.wrapped for row in connection.execute(select(data_keys))}
        with self.house.ctx.db.engine.connect() as connection:
            rows = {row.person_id: row for row in connection.execute(select(c))}
        for person, (_, number) in self.told.items():
            key = AESGCM(master).decrypt(wrapped[person][:12], wrapped[person][12:], person.encode())
            row = rows[person]
            place = f"contacts\x00{row.id}\x00address".encode()
            opened = AESGCM(key).decrypt(row.address_sealed[1:13], row.address_sealed[13:], place)
            want = hmac.new(index, f"sms:{number}".encode(), hashlib.sha256).hexdigest()
            wrong += opened != number.encode() or (row.lookup, row.lookup_key) != (want, index_id)
        return wrong

    def unreadable_anew(self) -> int:
        """The same for a process that starts now."""
        beside = self.again()
        try:
            return self.unreadable(beside)
        finally:
            beside.close()
            beside.context.db.vault.engine.dispose()

    def again(self) -> Any:
        """Another process's view: the services built anew from the same settings."""
        return wiring.build(self.settings, clock=self.house.clock, channels={})


def killer(at: int) -> Callable[[str], None]:
    """Raises Killed at the `at`-th point that is passed; an `at` beyond all raises nothing."""
    passed = iter(range(1, 10_000))

    def fault(_point: str) -> None:
        if next(passed) == at:
            raise Killed

    return fault


def with_keys_in(house: House, url: str) -> House:
    """The same house with its key store somewhere else."""
    settings = house.services.settings
    house.services.close()
    apart = dataclasses.replace(settings, database=dataclasses.replace(settings.database, keys_url=url))
    house.services = wiring.build(apart, clock=house.clock, channels=house.channels, upgrade=True)
    return house


def turn_slowly(settings: Any, kind: Any, file: Path, clock: Any) -> None:
    """A child's life, until it is killed: it turns a key row by row, with a pause at each point."""
    services = wiring.build(settings, clock=clock, channels={})
    keys.rotate(services.context, kind, file, fault=lambda point: time.sleep(0.01), batch=1)
    os._exit(0)

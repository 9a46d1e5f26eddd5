"""A whole wired installation in a temporary folder, on either database, with a clock that stands still."""

from __future__ import annotations

import atexit
import itertools
import random
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest

from notify import wiring
from notify.channels.memory import MemoryChannel
from notify.channels.sms_mailgate import SmsMailgate
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.core.actors import Actor
from notify.flows import check_in, set_up
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from tests.parts.clock import FakeClock
from tests.parts.databases import Backend

SHOP = {
    "name": "Tramstop Bench", "address": "3 Rope Walk, Quillhaven", "phone": "+44 1632 960123",
    "email": "bench@example.org", "zone": "Europe/London", "region": "GB", "language": "en", "currency": "GBP",
}  # fmt: skip


@dataclass
class House:
    """One wired installation with one shop; `owner`, `technician` and `counter` act in it."""

    services: wiring.Services
    clock: FakeClock
    shop_id: str
    channels: Mapping[str, MemoryChannel]
    actors: dict[str, Actor] = field(default_factory=dict)

    @property
    def ctx(self) -> Any:
        """What flows are handed."""
        return self.services.context

    def actor(self, role: str = "owner") -> Actor:
        """Somebody who works here in this role."""
        return self.actors.setdefault(role, Actor(self.shop_id, "staff", f"staff-{role}", role))

    def customer(self) -> Actor:
        """A customer behind a claim link."""
        return Actor(self.shop_id, "customer", "customer")

    def system(self) -> Actor:
        """The clock's own jobs."""
        return Actor(self.shop_id, "system", "clock")

    def read(self) -> Any:
        """A reading transaction."""
        return self.ctx.db.read(self.shop_id)

    def check_in(self, *devices: DeviceForm, **whom: Any) -> check_in.CheckedIn:
        """Takes devices in for a customer with e-mail and mobile, unless `whom` says otherwise."""
        person = {"name": "Ines Farrow", "phone": "07700 900123", "email": "ines@example.org"}
        visit = {key: whom.pop(key) for key in list(whom) if key in VisitForm.__dataclass_fields__}
        form = VisitForm(
            bringer=PersonForm(**(person | whom)), devices=devices or (DeviceForm("Kestrel pocket radio"),), **visit
        )
        return check_in.check_in(self.ctx, self.actor(), form)

    def deliver(self, *, after: float = 0) -> int:
        """Moves the clock and lets the dispatcher work until nothing is due; how many it handled."""
        self.clock.advance(after)
        done = 0
        while handled := self.services.dispatcher.run_once(self.shop_id):
            done += handled
        return done

    def sent(self, channel: str = "email") -> list[Any]:
        """What a channel accepted so far."""
        return self.channels[channel].sent


def make_house(
    folder: Path, url: str, *, clock: FakeClock, public_url: str = "https://bell.example.org", bell: int = 90,
    channels: Mapping[str, Any] | None = None, fault: Callable[[str], None] = lambda point: None, seed: int = 1,
    copied: bool = True,
) -> House:  # fmt: skip
    """Wires an installation the way `shelfbell serve` does, with numbers from a seed and memory channels.

    On SQLite a second one that is made at the same time with the same settings is a copy of the first one's files,
    unless it matters how the product makes them.
    """
    kind = (clock(), public_url, bell, seed)
    at = folder / "house"
    if copied and url.startswith("sqlite") and kind in _FIRST:
        config, shop_id, chance, ids = _FIRST[kind].copy_to(at, url)
    else:
        config = _first_settings(at, url, public_url=public_url, bell=bell, seed=seed)
        shop_id, chance, ids = "", random.Random(seed), itertools.count(1)
    kept = {"email": MemoryChannel(), "sms": MemoryChannel()}
    ways = channels or {"email": kept["email"], "sms": SmsMailgate(kept["sms"], "{digits}@sms.example.org")}

    def wire() -> wiring.Services:
        return wiring.build(
            load(config), clock=clock, new_id=lambda: str(UUID(int=(seed << 96) | next(ids))), pick=chance.randrange,
            jitter=lambda: 0.5, channels=ways, upgrade=True, fault=fault,
        )  # fmt: skip

    services = wire()
    if not shop_id:
        shop_id = _open_shop(services)
        if copied and url.startswith("sqlite"):
            services.close()
            _FIRST[kind] = _First(config, url, shop_id, chance.getstate(), next(ids))
            ids = itertools.count(_FIRST[kind].next_id)
            services = wire()
    return House(services, clock, shop_id, kept)


def _first_settings(at: Path, url: str, *, public_url: str, bell: int, seed: int) -> Path:
    config = write_first_installation(at, public_url=public_url, random_bytes=random.Random(seed).randbytes)
    set_lines(
        config, url=f'"{url}"', wait_seconds=str(bell), template='"{digits}@sms.example.org"',
        organizer='"pickup-{token}@example.org"', sender_address='"counter@example.org"',
    )  # fmt: skip
    return config


def _open_shop(services: wiring.Services) -> str:
    shop_id = set_up.make_shop(services.context, settings=SHOP)
    owner = Actor(shop_id, "staff", "staff-owner", "owner")
    for weekday in range(6):
        set_up.add_hours(services.context, owner, weekday=weekday, opens=time(9), closes=time(18), capacity=2,
                         valid_from=date(2026, 1, 1))  # fmt: skip
    return shop_id


class _First:
    """The files of a house right after it was made, and how far its chance and its identifiers had come."""

    def __init__(self, config: Path, url: str, shop_id: str, chance: Any, next_id: int) -> None:
        self._kept = Path(tempfile.mkdtemp(prefix="sb-house-"))
        atexit.register(shutil.rmtree, self._kept, ignore_errors=True)
        shutil.copytree(config.parent, self._kept / "house")
        shutil.copy(url.removeprefix("sqlite:///"), self._kept / "main.db")
        self._config, self._url, self._shop_id, self._chance = config.name, url, shop_id, chance
        self.next_id = next_id

    def copy_to(self, at: Path, url: str) -> tuple[Path, str, random.Random, Iterator[int]]:
        """Another house of the same kind: its settings, its shop, its chance and its identifiers."""
        shutil.copytree(self._kept / "house", at)
        shutil.copy(self._kept / "main.db", url.removeprefix("sqlite:///"))
        config, chance = at / self._config, random.Random()
        config.write_text(config.read_text("utf-8").replace(self._url, url), "utf-8")
        chance.setstate(self._chance)
        return config, self._shop_id, chance, itertools.count(self.next_id)


_FIRST: dict[Any, _First] = {}


def set_lines(config: Path, **values: str) -> None:
    """Switches settings on in a freshly written configuration; every name must be there once."""
    text = config.read_text("utf-8").replace("[sms]\n", '[sms]\ntransport = "mailgate"\n')
    for name, value in values.items():
        line = re.compile(rf"^#{name} = .*$", re.MULTILINE)
        assert len(line.findall(text)) == 1, name
        text = line.sub(f"{name} = {value}", text)
    config.write_text(text, "utf-8")


@pytest.fixture
def house(backend: Backend, clock: FakeClock, tmp_path: Path, tzdata_only: None) -> Any:
    """A wired installation on SQLite and on PostgreSQL in turn."""
    made = make_house(tmp_path, backend.url, clock=clock)
    yield made
    made.services.close()

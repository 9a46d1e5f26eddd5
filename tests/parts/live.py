"""A whole installation with its pages on a loopback port, served as `shelfbell serve` does, under a settable clock."""

from __future__ import annotations

import itertools
import json
import random
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any

import pytest
from waitress.server import create_server  # type: ignore[import-untyped]

from notify import wiring
from notify.cli.server import open_socket
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.core.actors import Actor
from notify.flows import set_up, staff
from notify.web.app import create_app
from tests.parts.clock import FakeClock
from tests.parts.house import SHOP

OWNER, PASSWORD = "Ada", "amber-quay-oar-kettle-27"


@dataclass
class Live:
    """`base` is where the pages are; sign in as OWNER with PASSWORD. Mail goes where the settings say."""

    services: wiring.Services
    clock: FakeClock
    shop_id: str
    base: str
    owner: Actor

    @property
    def ctx(self) -> Any:
        """What flows are handed."""
        return self.services.context

    def read(self) -> Any:
        """A reading transaction."""
        return self.ctx.db.read(self.shop_id)

    def deliver(self, *, after: float = 91) -> int:
        """Moves the clock past the bell and lets the dispatcher work until nothing is due; how many it handled."""
        self.clock.advance(after)
        done = 0
        while handled := self.services.dispatcher.run_once(self.shop_id):
            done += handled
        return done


@contextmanager
def serving(services: wiring.Services, listening: Any, *, demo: bool = False) -> Iterator[None]:
    """Answers requests on `listening` in a thread, whose loop is ended from inside: only the main one gets signals."""
    server = create_server(create_app(services, demo=demo), sockets=[listening], threads=4, ident="")
    thread = threading.Thread(target=server.run, name="pages-for-tests", daemon=True)
    thread.start()
    try:
        yield
    finally:
        with suppress(OSError):  # a page that ends just now wakes the loop too, which then has closed all by itself
            server.trigger.pull_trigger(lambda: _close_all(server))
        thread.join(timeout=10)
        server.task_dispatcher.shutdown()
        listening.close()


def _close_all(server: Any) -> None:
    for one in list(server._map.values()):
        one.close()


def switch_on(config: Path, settings: Mapping[str, Any]) -> None:
    """Sets lines of a freshly written settings file by section and name; every one must be there."""
    left, section, lines = dict(settings), "", []
    for line in config.read_text("utf-8").splitlines():
        section = line.strip("[]") if line.startswith("[") else section
        key = f"{section}.{line.lstrip('#').partition(' = ')[0]}"
        lines.append(f"{key.rpartition('.')[2]} = {json.dumps(left.pop(key))}" if key in left else line)
    assert not left, f"no such settings: {sorted(left)}"
    config.write_text("\n".join(lines) + "\n", "utf-8")


def make_live(folder: Path, *, clock: FakeClock, settings: Mapping[str, Any], seed: int = 1) -> tuple[Live, Any]:
    """Wires an installation on SQLite whose public address is its own loopback port; also the listening socket."""
    listening = open_socket("127.0.0.1", 0)
    base = f"http://127.0.0.1:{listening.getsockname()[1]}"
    config = write_first_installation(folder / "live", public_url=base, random_bytes=random.Random(seed).randbytes)
    switch_on(config, {
        "sms.transport": "mailgate", "sms.template": "{digits}@sms.example.org",
        "invite.organizer": "pickup-{token}@example.org", "mail.sender_address": "counter@example.org", **settings,
    })  # fmt: skip
    ids, chance = itertools.count(1), random.Random(seed)
    services = wiring.build(
        load(config), clock=clock, new_id=lambda: f"{seed:08x}-{next(ids):027x}", pick=chance.randrange,
        jitter=lambda: 0.5, upgrade=True,
    )  # fmt: skip
    shop_id = set_up.make_shop(services.context, settings=SHOP)
    first = Actor(shop_id, "staff", "first-set-up", "owner")
    owner_id = staff.add_staff(services.context, first, name=OWNER, role="owner", password=PASSWORD)
    for weekday in range(6):
        set_up.add_hours(services.context, first, weekday=weekday, opens=time(9), closes=time(18), capacity=2,
                         valid_from=date(2026, 1, 1))  # fmt: skip
    return Live(services, clock, shop_id, base, Actor(shop_id, "staff", str(owner_id), "owner")), listening


@pytest.fixture
def start_live(tmp_path: Path, clock: FakeClock, tzdata_only: None) -> Iterator[Callable[..., Live]]:
    """Starts installations: `start_live({"mail.transport": "smtp", …})`; left out, mail lands in a Maildir."""
    running: list[tuple[Live, Any]] = []

    def start(settings: Mapping[str, Any] | None = None) -> Live:
        live, listening = make_live(tmp_path / f"live-{len(running)}", clock=clock, settings=settings or {})
        running.append((live, serving(live.services, listening)))
        running[-1][1].__enter__()
        return live

    yield start
    for live, server in running:
        server.__exit__(None, None, None)
        live.services.close()

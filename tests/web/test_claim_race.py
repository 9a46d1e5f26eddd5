"""Many customers want the same last place at the same moment, over HTTP, against one process and against two."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import threading
import time as stopwatch
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime, time
from http.client import HTTPConnection
from itertools import chain
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from sqlalchemy import func, select

from notify.flows import pickup, set_up
from notify.store import schema as s
from tests.flows.test_pickup import ready_visit
from tests.parts.house import make_house
from tests.parts.live import serving
from tests.parts.processes import die_with_parent, end, free_ports
from tests.parts.shelved import token_of

pytestmark = pytest.mark.real
CLIENTS, ROUNDS, DEEP_ROUNDS = 12, 50, 1000
_ROOT = Path(__file__).parents[2]


@dataclass
class Seen:
    """What the clients were told: slot -> the answers to it, the seconds each took, and the statuses."""

    answers: dict[str, list[str]] = field(default_factory=dict)
    seconds: list[float] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    given_up: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, slot: str, status: int, location: str, took: float) -> None:
        said = location.partition("said=")[2]
        with self.lock:
            self.answers.setdefault(slot, []).append(said)
            self.seconds.append(took)
            self.statuses[status] += 1


@contextmanager
def own_process(house: Any, config: Path) -> Iterator[int]:
    """The same pages from another process; its port."""
    (port,) = free_ports(1)
    command = [sys.executable, "-m", "tests.parts.serve_house", str(config), str(port), house.clock().isoformat()]
    process = subprocess.Popen(
        command, cwd=_ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        preexec_fn=die_with_parent(signal.SIGTERM),
    )  # fmt: skip
    try:
        assert process.stdout is not None and process.stdout.readline() == b"ready\n"
        yield port
    finally:
        end(process)
        process.stdout.close() if process.stdout else None


@contextmanager
def own_thread(house: Any) -> Iterator[int]:
    """The pages from a thread of this process; its port."""
    listening = socket.create_server(("127.0.0.1", 0))
    with serving(house.services, listening):
        yield int(listening.getsockname()[1])


class Customer:
    """One client with its own connection and claim link; sends the forms that its page holds."""

    def __init__(self, port: int, path: str) -> None:
        self.connection, self.path = HTTPConnection("127.0.0.1", port, timeout=30), path
        self.headers = {"Host": "bell.example.org", "Content-Type": "application/x-www-form-urlencoded"}
        self.csrf = ""

    def open(self) -> Customer:
        """Looks at the list of times, which holds the key of its forms."""
        self.connection.request("GET", f"{self.path}/slots", headers=self.headers)
        page = self.connection.getresponse().read().decode()
        self.csrf = re.findall(r'name="csrf_token" value="([^"]+)"', page)[0]
        return self

    def take(self, slot: str, once: str) -> tuple[int, str]:
        """Presses a time; (status, where the answer leads)."""
        return self._press("book", slot=slot, once=once)

    def give_up(self, once: str) -> tuple[int, str]:
        """Gives the time up that they have, if any."""
        return self._press("cancel", once=once)

    def _press(self, button: str, **form: str) -> tuple[int, str]:
        body = urlencode({"csrf_token": self.csrf, **form})
        self.connection.request("POST", f"{self.path}/{button}", body=body, headers=self.headers)
        answer = self.connection.getresponse()
        answer.read()
        return answer.status, answer.headers.get("Location", "")


def taken(house: Any) -> dict[datetime, int]:
    """slot start -> places taken, straight from the table."""
    t = s.bookings
    query = select(t.c.start_at, func.count()).where(t.c.state == "booked").group_by(t.c.start_at)
    with house.ctx.db.engine.connect() as connection:
        return {row[0]: row[1] for row in connection.execute(query)}


@pytest.mark.parametrize(
    ("kind", "processes", "rounds"),
    [
        ("sqlite", 1, ROUNDS),
        ("postgresql", 2, ROUNDS),
        *(pytest.param(kind, 2, DEEP_ROUNDS, marks=pytest.mark.deep) for kind in ("sqlite", "postgresql")),
    ],
)
def test_twelve_customers_never_share_a_last_place_and_every_place_finds_somebody(
    kind: str, processes: int, rounds: int, database_urls: Any, clock: Any, tmp_path: Path, tzdata_only: None
) -> None:
    house = make_house(tmp_path, database_urls(kind), clock=clock)
    try:
        set_up.change_settings(house.ctx, house.actor(), {"horizon_days": 14 if rounds == ROUNDS else 60})
        for weekday in (3, 4) if rounds == ROUNDS else range(6):
            set_up.add_hours(house.ctx, house.actor(), weekday=weekday, opens=time(9), closes=time(18), capacity=1)
        visits = [ready_visit(house) for _ in range(CLIENTS)]
        offers = pickup.offers(house.ctx, house.customer(), visits[0][0])
        slots = [f"{o.slot.local:%Y-%m-%dT%H:%M}/0" for o in offers if o.slot.capacity == 1][:rounds]
        assert len(slots) == rounds
        with ExitStack() as stack:
            ports = [stack.enter_context(own_thread(house))]
            if processes == 2:
                ports.append(stack.enter_context(own_process(house, next((tmp_path / "house").glob("*.toml")))))
            customers = [
                Customer(ports[n % processes], f"/c/{token_of(house, ticket)}").open()
                for n, (_, ticket) in enumerate(visits)
            ]
            seen, most = race(house, customers, slots)
            for customer in customers:
                customer.connection.close()
    finally:
        house.services.close()
    overbooked = sum(max(0, count - 1) for count in most.values())
    nobody = sum(1 for slot in slots if not {"booked", "moved"} & set(seen.answers[slot]))
    errors = sum(count for status, count in seen.statuses.items() if status >= 500)
    p95 = sorted(seen.seconds)[int(len(seen.seconds) * 0.95)] * 1000
    print(
        f"FIGURE C1 database={kind} processes={processes} attempts={len(seen.seconds)} overbooked={overbooked} "
        f"nobody_got={nobody} given_up={seen.given_up} http5xx={errors} p95_ms={p95:.0f}"
    )
    assert len(seen.seconds) == CLIENTS * rounds and set(seen.statuses) == {303}
    assert not overbooked and not nobody and not errors
    # Exactly one was told yes about each place, all the others that somebody was faster.
    told = Counter("yes" if said in ("booked", "moved") else said for said in chain(*seen.answers.values()))
    assert told == {"yes": rounds, "taken": (CLIENTS - 1) * rounds}


def race(house: Any, customers: list[Customer], slots: list[str]) -> tuple[Seen, Counter[datetime]]:
    """Every customer wants every slot, all at once, slot after slot; the most places ever taken in each.

    Whoever has one already moves; now and then one gives theirs up first, while the others press.
    """
    seen, most = Seen(), Counter[datetime]()

    def look() -> None:
        for start, count in taken(house).items():
            most[start] = max(most[start], count)

    start_line = threading.Barrier(len(customers), action=look)

    def run(number: int, customer: Customer) -> None:
        for turn, slot in enumerate(slots):
            start_line.wait(timeout=60)
            if (turn + number) % 5 == 0:
                _, where = customer.give_up(f"{number}-{slot}-gone")
                with seen.lock:
                    seen.given_up += where.endswith("said=cancelled")
            began = stopwatch.perf_counter()
            status, location = customer.take(slot, f"{number}-{slot}")
            seen.note(slot, status, location, stopwatch.perf_counter() - began)

    threads = [threading.Thread(target=run, args=(n, c), daemon=True) for n, c in enumerate(customers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120 * max(1, len(slots) // 50))
    look()
    return seen, most

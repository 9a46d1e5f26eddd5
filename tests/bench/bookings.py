"""Booking under a rush: the whole flow against the same statements, said bare."""

from __future__ import annotations

import json
import pickle
import queue
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import text

from notify.core.slots import Taken
from notify.flows import pickup
from notify.flows.check_in_form import DeviceForm
from tests.bench.line import Figure, alternate, compare
from tests.bench.processes import Helper, helper
from tests.bench.recorded import Attempt, Say, over_sqlite, recording
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House
from tests.parts.postgres import DURABLE, Cluster, Databases

FIRST = datetime(2026, 11, 26, 9, 0)  # the shop's wall time: the counter opens on the next morning
A_DAY = 36  # quarters of an hour from nine to six, two places each
CLIENTS, PROCESSES = 32, 4
Job = tuple[str, datetime, str]  # visit, wall time, key
_SAME = "the same statements with the same values, word for word, each attempt in a transaction of its own, "
RAW = f"{_SAME}through the bare driver (sqlite3) behind one lock of this process"
RAW_PROCESSES = f"{_SAME}through the bare driver (psycopg) in as many processes and threads, the shop's lock included"
_BACK = (
    "delete from bookings",
    "delete from messages where notice like 'pickup%'",
    "delete from events where kind like 'pickup%'",
    "delete from idempotency",
)


@dataclass(frozen=True, slots=True)
class Rush:
    """What a crowd came to: attempts a second, every attempt's own seconds, and how many were served."""

    rate: float
    took: tuple[float, ...]
    served: int

    @property
    def p99_ms(self) -> float:
        """The wait that one in a hundred exceeds."""
        return statistics.quantiles(self.took, n=100)[98] * 1000


def figures(*, attempts: int, places: int, rounds: int) -> list[Figure]:
    """`booking_rush_*` and `booking_wait_p99_*`: threads of one process on SQLite, four processes on PostgreSQL."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder:
        embedded = _on_sqlite(Path(folder), attempts=attempts, places=places, rounds=rounds)
    cluster = Cluster(**DURABLE, max_connections="120").start()
    databases = Databases(cluster.server(), cluster=cluster)
    try:
        databases.fill_template(lambda url: None)
        with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder:
            url = databases.url(databases.create())
            return [*embedded, *_on_postgres(Path(folder), url, attempts=attempts, places=places, rounds=rounds)]
    finally:
        databases.close()


def _on_sqlite(folder: Path, *, attempts: int, places: int, rounds: int) -> list[Figure]:
    with house_on(folder, Nothing()) as house:
        tries = _tries(house, attempts, places)
        said = _record(house, tries)
        open_line = over_sqlite(str(folder / "shelfbell.db"))

        def flow(jobs: list[Job]) -> Rush:
            return crowd(lambda: lambda job: try_to_book(house, *job), jobs, clients=CLIENTS)

        def bare(said: Sequence[Attempt]) -> Rush:
            return crowd(lambda: replay(open_line()), said, clients=CLIENTS)

        return _rush(house, tries, said, flow, bare, places, rounds, "sqlite", RAW)


def _on_postgres(folder: Path, url: str, *, attempts: int, places: int, rounds: int) -> list[Figure]:
    with house_on(folder, Nothing(), url=url) as house, ExitStack() as stack:
        tries = _tries(house, attempts, places)
        said = _record(house, tries)
        (config,) = (folder / "house").glob("*.toml")
        (book := folder / "said.pickle").write_bytes(pickle.dumps(said))
        ours = [
            stack.enter_context(helper("tests.bench.booker", "flow", str(config), house.clock().isoformat()))
            for _ in range(PROCESSES)
        ]
        theirs = [stack.enter_context(helper("tests.bench.booker", "bare", url, str(book))) for _ in range(PROCESSES)]

        def flow(jobs: list[Job]) -> Rush:
            return _spread(ours, [(visit, at.isoformat(), once) for visit, at, once in jobs])

        def bare(said: Sequence[Attempt]) -> Rush:
            return _spread(theirs, list(range(len(said))))

        return _rush(house, tries, said, flow, bare, places, rounds, "postgresql", RAW_PROCESSES)


def _spread(processes: Sequence[Helper], jobs: Sequence[Any]) -> Rush:
    """The jobs dealt out to processes that begin at one instant."""
    begin = time.time() + 0.2
    orders = [json.dumps({"begin": begin, "jobs": jobs[n :: len(processes)]}) for n in range(len(processes))]
    with ThreadPoolExecutor(len(processes)) as pool:
        answers = list(pool.map(lambda pair: pair[0].ask(pair[1]), zip(processes, orders, strict=True)))
    seconds = max(answer["ended"] for answer in answers) - begin
    took = tuple(one for answer in answers for one in answer["took"])
    return Rush(len(jobs) / seconds, took, sum(answer["served"] for answer in answers))


def _tries(house: House, attempts: int, places: int) -> list[tuple[str, datetime]]:
    return [(visit, slot(number % (places // 2))) for number, visit in enumerate(stage(house, attempts))]


def stage(house: House, n: int) -> list[str]:
    """`n` visits whose device is on the shelf, every earlier message told."""
    visits = [
        house.check_in(
            DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound"),
            name=f"Ines Farrow {number}",
            phone="",
            email=f"ines{number}@example.org",
        ).visit_id
        for number in range(n)
    ]
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(text("update tickets set phase = 'on_shelf', outcome = 'repaired'"))
        unit.connection.execute(text("update messages set state = 'sent', ended_at = created_at"))
    return visits


def slot(number: int) -> datetime:
    """The wall time of the n-th slot from the next morning on."""
    return FIRST + timedelta(days=number // A_DAY, minutes=15 * (number % A_DAY))


def try_to_book(house: Any, visit: str, at: datetime, once: str) -> bool:
    """Whether the place went to this visit; `house` has `ctx` and `customer()`."""
    try:
        pickup.book(house.ctx, house.customer(), visit, at, once=once)
    except Taken:
        return False
    return True


def replay(say: Say) -> Callable[[Attempt], bool]:
    """Says an attempt again; whether it was one that got a place."""

    def do(attempt: Attempt) -> bool:
        say(attempt)
        return attempt.committed

    return do


def put_back(house: House) -> None:
    """Nobody has booked yet."""
    with house.ctx.db.write(house.shop_id) as unit:
        for sentence in _BACK:
            unit.connection.execute(text(sentence))
    house.ctx.db.checkpoint()


def crowd(
    open_line: Callable[[], Callable[[Any], bool]], jobs: Sequence[Any], *, clients: int, begin: float = 0.0
) -> Rush:
    """`clients` threads take jobs until none is left, together and not before `begin`; lines are open by then."""
    waiting: queue.SimpleQueue[Any] = queue.SimpleQueue()
    for job in jobs:
        waiting.put(job)
    start = threading.Barrier(clients + 1)
    took: list[float] = []
    served: list[bool] = []

    def client() -> None:
        do = open_line()
        start.wait()
        while True:
            try:
                job = waiting.get_nowait()
            except queue.Empty:
                return
            began = time.perf_counter()
            served.append(do(job))
            took.append(time.perf_counter() - began)

    threads = [threading.Thread(target=client) for _ in range(clients)]
    for thread in threads:
        thread.start()
    time.sleep(max(0.0, begin - time.time()))
    start.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    return Rush(len(jobs) / (time.perf_counter() - began), tuple(took), sum(served))


def _record(house: House, tries: Sequence[tuple[str, datetime]]) -> list[Attempt]:
    """What the flow says in these attempts, one after the other."""
    with recording(house.ctx.db.engine) as said:
        for number, (visit, at) in enumerate(tries):
            try_to_book(house, visit, at, f"recorded-{number}")
    assert len(said) == len(tries)
    return said


def _rush(
    house: House, tries: Sequence[tuple[str, datetime]], said: Sequence[Attempt], flow: Callable[[list[Job]], Rush],
    bare: Callable[[Sequence[Attempt]], Rush], places: int, rounds: int, database: str, against: str,
) -> list[Figure]:  # fmt: skip
    ours: list[Rush] = []
    theirs: list[Rush] = []

    def run(kept: list[Rush], rush: Callable[[], Rush]) -> float:
        put_back(house)
        kept.append(rush())
        assert kept[-1].served == places, f"{kept[-1].served} of {places} places were sold"
        return kept[-1].rate

    def jobs(round_: int) -> list[Job]:
        return [(visit, at, f"{round_}-{number}") for number, (visit, at) in enumerate(tries)]

    pairs = alternate(rounds, lambda n: run(ours, lambda: flow(jobs(n))), lambda _: run(theirs, lambda: bare(said)))
    ratio, one, other = compare(pairs, unit="attempts/s")
    waits = [(a.p99_ms, b.p99_ms) for a, b in zip(ours[1:], theirs[1:], strict=True)]
    p99, mine, bare_p99 = compare(waits, unit="ms")
    statements = {"served": _statements(said, committed=True), "refused": _statements(said, committed=False)}
    more = {"clients": CLIENTS, "attempts": len(tries), "sold": places, "statements": statements}
    n = len(tries) * rounds
    return [
        Figure(f"booking_rush_{database}", ratio, 0.5, against, n, one, other, more=more),
        Figure(f"booking_wait_p99_{database}", p99, 2, against, n, mine, bare_p99, higher=False, more=more),
    ]


def _statements(said: Sequence[Attempt], *, committed: bool) -> int:
    return max((len(one.statements) for one in said if one.committed is committed), default=0)

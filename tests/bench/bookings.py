"""Booking under a rush, and looking for free places in a long story: against the same statements, bare."""

from __future__ import annotations

import queue
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import insert, text

from notify.core.slots import Taken
from notify.flows import pickup, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import schema
from tests.bench.line import Figure, Side, alternate, compare
from tests.bench.recorded import Attempt, Say, over_sqlite, recording
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House

FIRST = datetime(2026, 11, 26, 9, 0)  # noqa: DTZ001 - the shop's wall time: the counter opens on the next morning
A_DAY = 36  # quarters of an hour from nine to six, two places each
CLIENTS = 32
RAW = (
    "the same statements with the same values, word for word, each attempt in a transaction of its own, through the "
    "bare driver behind one lock of this process"
)
_BACK = (
    "delete from bookings",
    "delete from messages where notice like 'pickup%'",
    "delete from events where kind like 'pickup%'",
    "delete from idempotency",
)


@dataclass(frozen=True, slots=True)
class Rush:
    """What a crowd came to: attempts a second, the 99th of a hundred waits in ms, and how many were served."""

    rate: float
    p99_ms: float
    served: int


def figures(*, attempts: int, places: int, rounds: int) -> list[Figure]:
    """`booking_rush` and `booking_rush_p99` on the embedded database."""
    with (
        tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder,
        house_on(Path(folder), Nothing()) as house,
    ):
        visits = stage(house, attempts)
        tries = [(visit, slot(number % (places // 2))) for number, visit in enumerate(visits)]
        said = _record(house, tries)
        return _rush(house, tries, said, over_sqlite(str(Path(folder) / "shelfbell.db")), places, rounds, "sqlite")


def stage(house: House, n: int) -> list[str]:
    """`n` visits whose device is on the shelf, every earlier message told."""
    visits = [
        house.check_in(
            DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound"), name=f"Ines Farrow {number}",
            phone="", email=f"ines{number}@example.org",
        ).visit_id
        for number in range(n)
    ]  # fmt: skip
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(text("update tickets set phase = 'on_shelf', outcome = 'repaired'"))
        unit.connection.execute(text("update messages set state = 'sent', ended_at = created_at"))
    return visits


def slot(number: int) -> datetime:
    """The wall time of the n-th slot from the next morning on."""
    return FIRST + timedelta(days=number // A_DAY, minutes=15 * (number % A_DAY))


def try_to_book(house: House, visit: str, at: datetime, once: str) -> bool:
    """Whether the place went to this visit."""
    try:
        pickup.book(house.ctx, house.customer(), visit, at, once=once)
    except Taken:
        return False
    return True


def put_back(house: House) -> None:
    """Nobody has booked yet."""
    with house.ctx.db.write(house.shop_id) as unit:
        for sentence in _BACK:
            unit.connection.execute(text(sentence))
    house.ctx.db.checkpoint()


def crowd(open_line: Callable[[], Callable[[Any], bool]], jobs: Sequence[Any]) -> Rush:
    """`CLIENTS` threads take jobs until none is left; each opens its line before the start."""
    waiting: queue.SimpleQueue[Any] = queue.SimpleQueue()
    for job in jobs:
        waiting.put(job)
    start, took, served = threading.Barrier(CLIENTS + 1), [], []

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

    threads = [threading.Thread(target=client) for _ in range(CLIENTS)]
    for thread in threads:
        thread.start()
    start.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - began
    return Rush(len(jobs) / seconds, statistics.quantiles(took, n=100)[98] * 1000, sum(served))


def _record(house: House, tries: Sequence[tuple[str, datetime]]) -> list[Attempt]:
    """What the flow says in these attempts, one after the other."""
    with recording(house.ctx.db.engine) as said:
        for number, (visit, at) in enumerate(tries):
            try_to_book(house, visit, at, f"recorded-{number}")
    assert len(said) == len(tries)
    return said


def _rush(
    house: House, tries: Sequence[tuple[str, datetime]], said: Sequence[Attempt], open_line: Callable[[], Say],
    places: int, rounds: int, database: str,
) -> list[Figure]:  # fmt: skip
    ours: list[Rush] = []
    theirs: list[Rush] = []

    def flow(round_: int) -> float:
        put_back(house)
        jobs = [(visit, at, f"{round_}-{number}") for number, (visit, at) in enumerate(tries)]
        ours.append(crowd(lambda: lambda job: try_to_book(house, *job), jobs))
        assert ours[-1].served == places, f"{ours[-1].served} of {places} places were sold"
        return ours[-1].rate

    def bare(_: int) -> float:
        put_back(house)

        def line() -> Callable[[Attempt], bool]:
            say = open_line()

            def do(attempt: Attempt) -> bool:
                say(attempt)
                return attempt.committed

            return do

        theirs.append(crowd(line, said))
        assert theirs[-1].served == places
        return theirs[-1].rate

    pairs = alternate(rounds, flow, bare)
    ratio, one, other = compare(pairs, unit="attempts/s")
    waits = [(a.p99_ms, b.p99_ms) for a, b in zip(ours[1:], theirs[1:], strict=True)]
    p99, mine, bare_p99 = compare(waits, unit="ms")
    more = {"database": database, "clients": CLIENTS, "attempts": len(tries), "sold": places,
            "statements": {"served": _statements(said, committed=True), "refused": _statements(said, committed=False)}}  # fmt: skip
    n = len(tries) * rounds
    return [
        Figure(f"booking_rush_{database}", ratio, 0.5, RAW, n, one, other, more=more),
        Figure(f"booking_wait_p99_{database}", p99, 2, RAW, n, mine, bare_p99, higher=False, more=more),
    ]


def _statements(said: Sequence[Attempt], *, committed: bool) -> int:
    return max((len(one.statements) for one in said if one.committed is committed), default=0)


def free_places(*, past: int, coming: int, rounds: int, looks: int, url: str = "") -> list[Figure]:
    """`free_places`: what is free in the next sixty days, with a long story behind the shop and with none."""
    with (
        tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder,
        house_on(Path(folder), Nothing(), url=url) as house,
    ):
        set_up.change_settings(house.ctx, house.actor(), {"horizon_days": 60})
        (visit,) = stage(house, 1)
        _coming(house, coming)
        look = _looking(house, visit, looks)
        look(0)
        without = [look(number) for number in range(rounds)]
        _past(house, visit, past)
        look(0)
        with_them = [look(number) for number in range(rounds)]
    pairs = list(zip(with_them, without, strict=True))
    ratio, ours, theirs = compare(pairs, unit="ms")
    against = "the same look at the same database before its story was written"
    more = {"past": past, "coming": coming, "database": "postgresql" if url else "sqlite"}
    name = f"free_places_{more['database']}"
    return [Figure(name, ratio, 1.2, against, looks * rounds, ours, theirs, higher=False, more=more)]


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
    visits = [str(uuid4()) for _ in range(n)]
    with house.ctx.db.write(house.shop_id) as unit:
        opened = [
            {"shop_id": house.shop_id, "id": one, "waits_here": False, "opened_at": house.clock()} for one in visits
        ]
        unit.connection.execute(insert(schema.visits), opened)
        rows = [_row(house, visit, at, "booked") for visit, at in zip(visits, times, strict=True)]
        unit.connection.execute(insert(schema.bookings), rows)
    _settle_down(house)


def _past(house: House, visit: str, n: int) -> None:
    """`n` bookings of the years before, most of them kept."""
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

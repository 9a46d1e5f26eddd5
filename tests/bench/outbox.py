"""The outbox alone: enqueue and drain beside job queues and the raw driver, and a claim beside a large archive."""

from __future__ import annotations

import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.sqlalchemy import SQLAlchemyJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from huey import SqliteHuey
from sqlalchemy import text

from notify.channels.base import Outgoing
from notify.core.planner import Planned
from notify.dispatch.deliver import Dispatcher
from notify.dispatch.look_again import Rules
from notify.dispatch.prepare import Prepared
from notify.store import outbox
from notify.store.database import Unit
from notify.store.messages import Composed, Message
from tests.bench.line import Figure, alternate, compare
from tests.bench.stage import Nothing, check_in, house_on
from tests.parts.house import House

HUEY = (
    "huey's SqliteHuey with fsync=True, one worker that takes and runs each task without waiting between two; "
    "ours claims by lease and settles each message with its receipt, synchronous=FULL, a channel that does nothing; "
    "no second look and no bytes on either side"
)
APSCHEDULER = (
    "APScheduler's one-shot jobs in its SQLAlchemy store on SQLite (synchronous=FULL), all due, one worker thread; "
    "ours as against huey"
)
RAW = "the same rows with the same columns through Python's sqlite3, a statement each, as many in a transaction"
SMALL_ARCHIVE = "the same claim of ten messages with 1,000 messages that left; ratio is the time of one by the other"
MESSAGES = 2  # enqueued in a transaction, as one thing that happens at a counter does
_WAITS = "update messages set state = 'waiting', ended_at = null, delivery = '', delivery_at = null, reason = ''"


def figures(*, n: int, rounds: int, jobs: int, archive: int, claims: int) -> list[Figure]:
    """`outbox_huey`, `outbox_apscheduler`, `outbox_enqueue` and `outbox_archive`."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name:
        folder = Path(name)
        with house_on(folder, Nothing()) as house:
            side = _Outbox(house, n)
            drained = [
                _against(side, "outbox_huey", 2.0, HUEY, _Huey(folder, n).drain, n, rounds),
                _against(side, "outbox_apscheduler", 5.0, APSCHEDULER, _Jobs(folder, jobs).drain, jobs, rounds),
            ]
            enqueued = _enqueue(house, side, rounds=rounds)
        return [*drained, enqueued, _archive(folder, archive, claims)]


class Bare:
    """Prepares nothing: whatever was claimed leaves as it is."""

    def __init__(self, rules: Rules) -> None:
        self.rules = rules

    def prepare_all(self, unit: Unit, claimed: Sequence[Message], *, now: datetime) -> Prepared:
        """See Preparer.prepare_all."""
        outgoing, composed = Outgoing("", "", "", b""), Composed(b"", "", "", "email", "")
        return Prepared(ready=[(message, outgoing, composed) for message in claimed])


class _Outbox:
    """`n` messages to as many people, drained again and again by the dispatcher with nothing to prepare or send."""

    def __init__(self, house: House, n: int) -> None:
        self.house, self.n = house, n
        _, visits = check_in(house, 1)
        whole = house.services.dispatcher
        self._dispatcher = Dispatcher(
            whole.db, Bare(whole.preparer.rules), whole.channels, whole.clock, whole.jitter, whole.name  # type: ignore[arg-type]
        )  # fmt: skip
        self.visits = _more_visits(house, visits[0], n)
        with house.ctx.db.write(house.shop_id) as unit:
            for visit_id in self.visits:
                outbox.add(unit, (planned(house, visit_id, "drain"),), visit_id=visit_id, sealed_for=visit_id, refs={},
                           now=house.clock())  # fmt: skip

    def drain(self, _: int) -> float:
        """Messages a second."""
        with self.house.ctx.db.write(self.house.shop_id) as unit:
            unit.connection.execute(text(f"{_WAITS} where cause = 'drain'"))
        self.house.ctx.db.checkpoint()
        began, done = time.perf_counter(), 0
        while claimed := self._dispatcher.run_once(self.house.shop_id):
            done += claimed
        assert done == self.n
        return self.n / (time.perf_counter() - began)


def planned(house: House, visit_id: str, cause: str) -> Planned:
    """A message to somebody of their own."""
    now = house.clock()
    return Planned("ready", visit_id, "email", "", f"visit:{visit_id}"[:48], cause, now, now + timedelta(days=9))


def _more_visits(house: House, like: str, n: int) -> list[str]:
    """`n` visits of nobody, for the sake of the foreign key."""
    ids = [f"bench-{number:06d}" for number in range(n)]
    with house.ctx.db.write(house.shop_id) as unit:
        copy = text("insert into visits select shop_id, :new, waits_here, opened_at, null, changed from visits "
                    "where id = :like and shop_id = :shop")  # fmt: skip
        unit.connection.execute(copy, [{"new": one, "like": like, "shop": house.shop_id} for one in ids])
    return ids


def _against(
    side: _Outbox, name: str, goal: float, words: str, theirs: Callable[[int], float], their_n: int, rounds: int
) -> Figure:
    ratio, ours, other = compare(alternate(rounds, side.drain, theirs), unit="jobs/s")
    more = {"n_a_round": {"ours": side.n, "theirs": their_n}}
    return Figure(name, ratio, goal, words, side.n * rounds, ours, other, more=more)


class _Huey:
    def __init__(self, folder: Path, n: int) -> None:
        self._huey = SqliteHuey("bench", filename=str(folder / "huey.db"), fsync=True, results=False)
        self._n, self._done = n, 0
        self._task = self._huey.task()(self._work)

    def _work(self, number: int) -> None:
        self._done += 1

    def drain(self, _: int) -> float:
        for number in range(self._n):
            self._task(number)
        self._done, began = 0, time.perf_counter()
        while (task := self._huey.dequeue()) is not None:
            self._huey.execute(task)
        assert self._done == self._n
        return self._n / (time.perf_counter() - began)


_ran = threading.Semaphore(0)


def one_job() -> None:
    """What each job does; a function by name, since the job store keeps no other."""
    _ran.release()


class _Jobs:
    def __init__(self, folder: Path, n: int) -> None:
        self._url, self._n = f"sqlite:///{folder / 'jobs.db'}", n

    def drain(self, _: int) -> float:
        runner = BackgroundScheduler(
            timezone="UTC", jobstores={"default": SQLAlchemyJobStore(self._url)},
            executors={"default": ThreadPoolExecutor(1)}, job_defaults={"misfire_grace_time": None},
        )  # fmt: skip
        runner.start(paused=True)
        due = datetime.now(UTC)
        for _ in range(self._n):
            runner.add_job(one_job, "date", run_date=due)
        began = time.perf_counter()
        runner.resume()
        for _ in range(self._n):
            assert _ran.acquire(timeout=60)
        taken = time.perf_counter() - began
        runner.shutdown()
        return self._n / taken


def _enqueue(house: House, side: _Outbox, *, rounds: int) -> Figure:
    """Both write to the same table of the same file, MESSAGES in a transaction."""
    groups = [side.visits[at : at + MESSAGES] for at in range(0, side.n, MESSAGES)]
    raw = sqlite3.connect(str(house.ctx.db.engine.url.database), isolation_level=None, timeout=10)
    for pragma in ("synchronous=FULL", "foreign_keys=ON", "secure_delete=ON", "wal_autocheckpoint=0"):
        raw.execute(f"pragma {pragma}")

    def we(number: int) -> float:
        began = time.perf_counter()
        for group in groups:
            with house.ctx.db.write(house.shop_id) as unit:
                for visit_id in group:
                    outbox.add(unit, (planned(house, visit_id, f"we-{number}"),), visit_id=visit_id,
                               sealed_for=visit_id, refs={}, now=house.clock())  # fmt: skip
        return side.n / (time.perf_counter() - began)

    def they(number: int) -> float:
        rows = raw.execute("select * from messages where cause = ?", (f"we-{number}",))
        names = [column[0] for column in rows.description]
        copies = [dict(zip(names, row, strict=True)) for row in rows]
        top = raw.execute("select max(seq) from messages").fetchone()[0]
        for at, copy in enumerate(copies):
            copy |= {"id": f"raw-{number}-{at}", "cause": f"raw-{number}", "seq": top + at + 1}
        insert = f"insert into messages ({', '.join(names)}) values ({', '.join('?' * len(names))})"
        values = [tuple(copy.values()) for copy in copies]
        began = time.perf_counter()
        for at in range(0, len(values), MESSAGES):
            raw.execute("begin immediate")
            for row in values[at : at + MESSAGES]:
                raw.execute(insert, row)
            raw.execute("commit")
        taken = time.perf_counter() - began
        raw.execute("delete from messages where cause in (?, ?)", (f"raw-{number}", f"we-{number}"))
        house.ctx.db.checkpoint()
        return len(values) / taken

    ratio, ours, theirs = compare(alternate(rounds, we, they), unit="messages/s")
    raw.close()
    return Figure("outbox_enqueue", ratio, 0.5, RAW, side.n * rounds, ours, theirs, more={"a_transaction": MESSAGES})


@dataclass(frozen=True, slots=True)
class _Archive:
    """An installation with so many messages that left, and fifty that are due."""

    house: House

    def claim(self, times: int) -> float:
        """Seconds for one claim of ten, undone each time."""
        db, shop, now = self.house.ctx.db, self.house.shop_id, self.house.clock()
        taken = 0.0
        for _ in range(times):
            with _undone(), db.write_beside(shop) as unit:
                began = time.perf_counter()
                got = outbox.claim(unit, now=now, until=now + timedelta(minutes=1), by="bench", limit=10)
                taken += time.perf_counter() - began
                assert len(got) == 10
                raise _Undo
        return taken / times


class _Undo(Exception):
    """Rolls a transaction back."""


@contextmanager
def _undone() -> Iterator[None]:
    try:
        yield
    except _Undo:
        return


def _archive(folder: Path, many: int, claims: int) -> Figure:
    with house_on(_made(folder / "few"), Nothing()) as few, house_on(_made(folder / "many"), Nothing()) as lots:
        for house, left in ((few, 1000), (lots, many)):
            side = _Outbox(house, 50)
            _leave(house, side.visits[0], left)
        small, large = _Archive(few), _Archive(lots)
        pairs = alternate(9, lambda _: large.claim(claims), lambda _: small.claim(claims))
    ratio, ours, theirs = compare([(a * 1e6, b * 1e6) for a, b in pairs], unit="microseconds a claim")
    more: Mapping[str, Any] = {"left": {"ours": many, "theirs": 1000}}
    return Figure("outbox_archive", ratio, 1.2, SMALL_ARCHIVE, 9 * claims, ours, theirs, higher=False, more=dict(more))


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def _leave(house: House, visit_id: str, n: int) -> None:
    """`n` messages that left long ago, as one statement; nothing here has to survive, so nothing waits for the disk."""
    raw = sqlite3.connect(str(house.ctx.db.engine.url.database), isolation_level=None, timeout=10)
    raw.execute("pragma synchronous=OFF")
    names = [row[1] for row in raw.execute("pragma table_info(messages)")]
    changed = {"id": "'old-' || n", "cause": "'old-' || n", "seq": "1000 + n", "state": "'sent'",
               "ended_at": "created_at", "visit_id": "visit_id"}  # fmt: skip
    raw.execute(
        f"with recursive count(n) as (select 1 union all select n + 1 from count where n < {n}) "
        f"insert into messages ({', '.join(names)}) "
        f"select {', '.join(changed.get(name, name) for name in names)} from count, "
        "(select * from messages where visit_id = ? limit 1)", (visit_id,),
    )  # fmt: skip
    raw.close()
    house.ctx.db.checkpoint(truncate=True)

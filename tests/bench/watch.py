"""Tables of other systems: what an idle look costs as the table grows, and how fast many changed rows are taken."""

from __future__ import annotations

import itertools
import os
import random
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import psycopg
import pymysql
from sqlalchemy import make_url, select

from notify.config.settings import Watch
from notify.core import rising
from notify.flows import source_state
from notify.store import schema
from notify.watch import table
from tests.bench.idle import resident_mb
from tests.bench.line import Figure, alternate, compare, cpu
from tests.bench.recorded import Attempt, over_sqlite, recording
from tests.bench.stage import Nothing, check_in, house_on
from tests.parts.house import House
from tests.parts.mariadb import PASSWORD, start_mariadb
from tests.parts.postgres import Cluster, Databases
from tests.parts.watched_folder import make_watch

IDLE_AGAINST = "the same look at a table with a thousand rows; ratio is the time of the large one / the small one"
TAKE_AGAINST = (
    "every statement that our transactions sent, reads among them, said again word for word by sqlite3 alone, in the "
    "same transactions on a copy of the database as it was before; what ours say of many rows at once it says row by "
    "row, each change of a ticket in a savepoint of its own"
)
JOBS = "create table jobs (job varchar(20) primary key, stand varchar(20), seen bigint)"
WORDS = (("line", "in_line"), ("bench", "on_bench"), ("done", "repaired"))
# What a row says next: of a hundred devices on the bench so many go back into the line or on the shelf, and so on.
NEXT = {"bench": ("line", "line", "line", "done", "bench"), "line": ("bench",) * 4 + ("line",), "done": ("line",)}


def idle(*, sqlite_rows: int, server_rows: int, rounds: int, looks: int) -> list[Figure]:
    """`watch_idle_sqlite`, `_postgresql`, `_mariadb`: a look that finds nothing, the larger table against 1,000."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="shelfbell-bench-")))
        house = stack.enter_context(house_on(folder, Nothing()))
        makers = {"sqlite": lambda name: f"sqlite:///{folder / name}.db", **_servers(stack)}
        return [
            _idle(house, kind, make, server_rows if kind != "sqlite" else sqlite_rows, rounds=rounds, looks=looks)
            for kind, make in makers.items()
        ]


def _servers(stack: ExitStack) -> dict[str, Callable[[str], str]]:
    cluster = Cluster().start()  # nothing is written while it is measured
    databases = Databases(cluster.server(), cluster=cluster)
    stack.callback(databases.close)
    databases.fill_template(lambda url: None)
    mariadb = start_mariadb()
    stack.callback(mariadb.stop)
    return {
        "postgresql": lambda _: databases.url(databases.create()),
        "mariadb": lambda _: mariadb.url(mariadb.create()),
    }


def _idle(house: House, kind: str, make: Callable[[str], str], rows: int, *, rounds: int, looks: int) -> Figure:
    large, small = (_idle_watch(house, kind, make(f"{kind}{count}"), count) for count in (rows, 1_000))

    def seconds(watch: Watch) -> Callable[[int], float]:
        def run(_: int) -> float:
            began = time.perf_counter()
            for _ in range(looks):
                house.clock.advance(10)
                assert table.look(house.ctx, house.shop_id, watch) == ()
            return (time.perf_counter() - began) / looks * 1000

        return run

    ratio, ours, theirs = compare(alternate(rounds, seconds(large), seconds(small)), unit="ms a look")
    return Figure(
        f"watch_idle_{kind}", ratio, 1.2, IDLE_AGAINST, looks * rounds, ours, theirs, higher=False, more={"rows": rows}
    )


def _idle_watch(house: House, kind: str, url: str, rows: int) -> Watch:
    """A source whose table was read to its end long ago: only its position is known here, not a million tickets."""
    _fill(kind, url, ((f"J{number}", "line", number) for number in range(rows)))
    watch = _watch(house, f"{kind}{rows}", url)
    began = house.clock()
    mark = (began - timedelta(days=1), rows - 1)
    position = rising.Position(table._of(watch), began, rows - 1, (mark,), rising.night_of(began, "UTC"))
    source_state.looked(house.ctx, house.shop_id, watch.name, position=rising.written(position))
    return watch


def _watch(house: House, name: str, url: str) -> Watch:
    file = house.services.settings.keys.master_key_file.parent / "theirs.txt"
    file.write_text(PASSWORD)
    file.chmod(0o600)
    told: dict[str, Any] = {
        "name": name, "kind": "table", "url": url, "query": "select job, stand, seen from jobs where job <> ''",
        "changed": "seen", "columns": (("reference", "job"), ("phase", "stand"), ("version", "seen")),
        "phase_words": WORDS, "zone": "UTC", "password_file": None if url.startswith("sqlite") else file,
    }  # fmt: skip
    return replace(make_watch(Path(), **told), folder=None)


def _fill(kind: str, url: str, rows: Any) -> None:
    index = "create index jobs_seen on jobs (seen)"
    if kind == "postgresql":
        with psycopg.connect(url.replace("+psycopg", "")) as line, line.cursor() as cursor:
            cursor.execute(JOBS)
            with cursor.copy("copy jobs from stdin") as copy:
                for row in rows:
                    copy.write_row(row)
            cursor.execute(index)
        with psycopg.connect(url.replace("+psycopg", ""), autocommit=True) as line:
            line.execute("vacuum analyze jobs")
        return
    with closing(_open(url)) as line:
        cursor = line.cursor()
        cursor.execute(JOBS)
        mark = "?" if kind == "sqlite" else "%s"
        while batch := list(itertools.islice(rows, 10_000)):
            cursor.executemany(f"insert into jobs values ({mark}, {mark}, {mark})", batch)
        cursor.execute(index)
        line.commit()
        cursor.execute("analyze" if kind == "sqlite" else "analyze table jobs")


def _open(url: str) -> Any:
    where = make_url(url)
    if where.get_backend_name() == "sqlite":
        return sqlite3.connect(str(where.database))
    return pymysql.connect(host=where.host, port=where.port or 0, user=where.username, password=PASSWORD,
                           database=where.database)  # fmt: skip


@dataclass
class _Bench:
    """Known tickets in another system's table, whose rows all change from round to round."""

    house: House
    watch: Watch
    file: Path
    stands: dict[str, str]
    changes: int = 0
    chance: random.Random = field(default_factory=lambda: random.Random(7))

    def change_all(self) -> None:
        """Each row says its next word; a fifth repeat their word with a new version."""
        self.house.clock.advance(3_600)
        rows = []
        for job, stand in self.stands.items():
            self.changes += 1
            self.stands[job] = self.chance.choice(NEXT[stand])
            rows.append((self.stands[job], 1_000_000 + self.changes, job))
        with closing(sqlite3.connect(str(make_url(self.watch.url).database))) as line:
            line.executemany("update jobs set stand = ?, seen = ? where job = ?", rows)
            line.commit()

    def look(self, told: list[int]) -> int:
        """One look without the pauses that it makes for others; how many rows were taken or told nothing new."""
        (report,) = table.look(
            self.house.ctx, self.house.shop_id, self.watch, tell=told.append, pause=lambda seconds: None
        )
        assert not report.problem and not report.refused and not report.taken.doubted, report
        return len(report.taken.taken) + len(report.taken.unchanged)


def take(*, tickets: int, rounds: int) -> list[Figure]:
    """`watch_take`: rows a second, all rows of a table changed in each round."""
    with (
        tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name,
        house_on(Path(name), Nothing()) as house,
    ):
        return [_measure_take(_stage(house, Path(name), tickets), rounds)]


def _stage(house: House, folder: Path, tickets: int) -> _Bench:
    ids, _ = check_in(house, tickets)
    with house.read() as unit:
        numbers = _numbers(unit, ids)
    url = f"sqlite:///{folder / 'theirs.db'}"
    _fill("sqlite", url, iter([(number, "bench", at) for at, number in enumerate(numbers)]))
    bench = _Bench(house, _watch(house, "bench", url), folder / "shelfbell.db", dict.fromkeys(numbers, "bench"))
    bench.look([])
    return bench


def _numbers(unit: Any, ids: Sequence[str]) -> list[str]:
    t = schema.tickets
    return list(unit.connection.execute(select(t.c.number).where(t.c.id.in_(ids)).order_by(t.c.number)).scalars())


def _row_by_row(attempt: Attempt) -> Attempt:
    """The same statements with a savepoint around each change of a ticket that stands in none: so it is done by whoever
    wants each row whole or not there and does not know which statements may wait for those of other rows."""
    statements: list[tuple[str, Any]] = []
    inside = 0
    for sql, values in attempt.statements:
        inside += sql.startswith("SAVEPOINT") - sql.startswith("RELEASE")
        alone = not inside and sql.startswith("UPDATE tickets")
        around = [("SAVEPOINT part", ())], [("RELEASE SAVEPOINT part", ())]
        statements += [*around[0], (sql, values), *around[1]] if alone else [(sql, values)]
    return Attempt(statements, attempt.committed)


def _measure_take(bench: _Bench, rounds: int) -> Figure:
    attempts: list[Any] = []
    before, progress = bench.file.with_suffix(".before"), list[int]()
    memory: list[float] = []

    cores = [0.0, 0.0]

    def ours(number: int) -> float:
        bench.change_all()
        bench.house.ctx.db.checkpoint(truncate=True)
        shutil.copyfile(bench.file, before)
        attempts.clear()
        with recording(bench.house.ctx.db.engine) as said:
            began, busy = time.perf_counter(), time.process_time()
            taken = bench.look(progress)
            spent = time.perf_counter() - began
            cores[0] += time.process_time() - busy if number else 0
            attempts.extend(_row_by_row(one) for one in said if one.committed)
        assert taken == len(bench.stands), taken
        memory.append(resident_mb(os.getpid()))
        return taken / spent

    def theirs(number: int) -> float:
        say = over_sqlite(str(before))()
        began, busy = time.perf_counter(), time.process_time()
        for attempt in attempts:
            say(attempt)
        cores[1] += time.process_time() - busy if number else 0
        return len(bench.stands) / (time.perf_counter() - began)

    ratio, we, they = compare(alternate(rounds, ours, theirs), unit="rows/s")
    statements = sum(len(one.statements) for one in attempts) / len(bench.stands)
    more = {"statements_a_row": round(statements, 2), "ms_a_row": round(1000 / we.value, 3),
            "progress_told": len(progress), "memory_growth_mb": round(memory[-1] - memory[0], 1)}  # fmt: skip
    n = len(bench.stands) * rounds
    return Figure("watch_take", ratio, 0.3, TAKE_AGAINST, n, we, they, more=more | cpu(*cores, n=n))

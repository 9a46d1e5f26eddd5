"""Queries on other systems' databases: what is read, what cannot be written, and what is said when nothing comes."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import text

from notify.core.rising import Bound, same_kind
from notify.core.sources import SourceTrouble, Trouble
from notify.store.watched_table import Asked, WatchedTable, open_table
from tests.parts.foreign import Foreign
from tests.parts.mariadb import PASSWORD, Mariadb
from tests.parts.processes import free_ports
from tests.parts.silent_line import silent_after

ASKED = Asked("select * from jobs", ("job", "stand"), "seen")
DRIVERS = {"postgresql": "psycopg", "mariadb": "pymysql"}
JOBS = "create table jobs (job varchar(40) primary key, stand varchar(20), seen integer)"
INDEX = "create index jobs_seen on jobs (seen)"
ROWS = [(f"Q-{number:04}", "bench", number // 3) for number in range(3000)]


def table_of(foreign: Foreign, query: str = "select * from jobs", *, columns: tuple[str, ...] = ("job", "stand"),
             along: str = "seen", seconds: int = 5) -> WatchedTable:  # fmt: skip
    return open_table(foreign.url, foreign.password, Asked(query, columns, along, ("job",)), seconds=seconds)


def rows_of(table: WatchedTable, after: Bound | None = None, *, limit: int = 100) -> list[tuple[Any, ...]]:
    return table.rows(after, limit=limit, skip=0, shape=tuple)


@pytest.fixture
def jobs(foreign: Foreign) -> Foreign:
    foreign.do(JOBS, INDEX, "insert into jobs values (?, ?, ?)", rows=ROWS)
    if foreign.kind != "sqlite":
        foreign.do("analyze jobs" if foreign.kind == "postgresql" else "analyze table jobs")
    return foreign


def test_rows_above_a_value_come_in_its_order(jobs: Foreign) -> None:
    table = table_of(jobs)
    assert [row[0] for row in rows_of(table, Bound(990, same_too=False))] == [
        seen for seen in range(991, 1000) for _ in range(3)
    ]
    assert rows_of(table, Bound(999, same_too=True)) == [(999, f"Q-{number}", "bench") for number in range(2997, 3000)]
    assert table.rows(Bound(999, same_too=True), limit=5, skip=2, shape=tuple) == [(999, "Q-2999", "bench")]


def explained(table: WatchedTable, kind: str) -> str:
    """The server's own plan of one page (sqlite.org/eqp.html, EXPLAIN of PostgreSQL and MariaDB)."""
    with table._reading() as connection:
        statement = table.page(Bound(990, same_too=False), limit=100)
        compiled = statement.compile(table._engine, compile_kwargs={"render_postcompile": True})
        how = "explain query plan " if kind == "sqlite" else "explain "
        values = compiled.params if compiled.positiontup is None else tuple(
            compiled.params[name] for name in compiled.positiontup
        )  # fmt: skip
        return "\n".join(" ".join(map(str, row)) for row in connection.exec_driver_sql(how + str(compiled), values))


def test_one_page_uses_the_index_of_its_change_column(jobs: Foreign) -> None:
    plan = explained(table_of(jobs, "select job, stand, seen from jobs where stand <> 'gone'"), jobs.kind)
    wanted = {
        "sqlite": "USING INDEX jobs_seen",
        "postgresql": "Index Scan using jobs_seen",
        "mariadb": "range jobs_seen",
    }
    assert wanted[jobs.kind] in plan.replace("\n", " "), plan


WRITES = {
    "sqlite": [
        "select journal_mode as job, 1 as stand, 1 as seen from pragma_journal_mode('wal')",
        "select job, stand, load_extension('x') as seen from jobs",
    ],
    "postgresql": [
        "select job, stand, spoil() as seen from jobs", "select job, stand, nextval('numbers') as seen from jobs",
        "select * from jobs for update", "with gone as (delete from jobs returning *) select * from gone",
        "select job, stand, seen, set_config('transaction_read_only', 'off', false) as x, spoil() as y from jobs",
    ],
    "mariadb": [
        "select job, stand, spoil() as seen from jobs", "select * from jobs into outfile '/tmp/never-written.txt'",
        "select job, stand, seen from jobs limit 1 into @gone",
        "select job, stand, nextval(numbers) as seen from jobs",
    ],
}  # fmt: skip
BEFORE = {
    "sqlite": [],
    "postgresql": [
        "create sequence numbers",
        "create function spoil() returns integer language plpgsql volatile as "
        "$$ begin update jobs set stand = 'spoilt'; return 1; end $$",
    ],
    "mariadb": [
        "create sequence numbers",
        "create function spoil() returns integer modifies sql data "
        "begin update jobs set stand = 'spoilt'; return 1; end",
    ],
}


def test_no_query_changes_anything_there(jobs: Foreign) -> None:
    """Whatever right its user has: here it may do everything."""
    jobs.do(*BEFORE[jobs.kind])
    before = jobs.ask("select * from jobs order by job")
    refused = 0
    for query in WRITES[jobs.kind]:
        with pytest.raises(SourceTrouble) as problem:
            rows_of(table_of(jobs, query))
        refused += 1
        assert "spoilt" not in str(problem.value) and "Q-0" not in str(problem.value)
    assert jobs.ask("select * from jobs order by job") == before
    print(f"FIGURE watched_read_only kind={jobs.kind} tried={refused} changed=0")


def test_a_line_to_a_database_refuses_to_write_by_itself(jobs: Foreign) -> None:
    table = table_of(jobs)
    own = {
        "sqlite": ["attach ':memory:' as o", "pragma query_only=off", "vacuum"],
        "postgresql": ["select set_config('transaction_read_only', 'off', false)", "create table other as select 1"],
        "mariadb": ["create temporary table t (x integer)", "drop table jobs", "select * from jobs for update"],
    }
    statements = ("insert into jobs values ('Q-9', 'new', 1)", "create table other (x integer)", "delete from jobs")
    for statement in (*statements, *own[jobs.kind]):
        with pytest.raises(SourceTrouble), table._reading() as connection:
            connection.execute(text(statement))
    assert len(jobs.ask("select * from jobs")) == len(ROWS)


NOW = dt.datetime(2026, 11, 28, 11, 30, 5, 250_000)
KINDS = {
    "sqlite": (
        "create table kinds (a integer, b real, c text, d blob, e)",
        (7, 2.5, "  Gr\u00fc\u00dfe ", b"\x00\xff", None), (7, 2.5, "  Gr\u00fc\u00dfe ", b"\x00\xff", None),
    ),
    "postgresql": (
        "create table kinds (a bigint, b numeric(9,2), c timestamp, d timestamptz, e bytea, f boolean, g date, h time)",
        (2**40, Decimal("12.50"), NOW, NOW.replace(tzinfo=dt.UTC), b"\xff", True, NOW.date(), NOW.time()),
        (2**40, Decimal("12.50"), NOW, NOW.replace(tzinfo=dt.UTC), b"\xff", True, NOW.date(), NOW.time()),
    ),
    "mariadb": (
        "create table kinds (a bigint, b decimal(9,2), c datetime(6), d timestamp(6) null, e blob, f boolean, g date, "
        "h time)",
        (2**40, Decimal("12.50"), NOW, NOW, b"\xff", True, NOW.date(), dt.timedelta(hours=30)),
        (2**40, Decimal("12.50"), NOW, NOW.replace(tzinfo=dt.UTC), b"\xff", 1, NOW.date(), dt.timedelta(hours=30)),
    ),
}  # fmt: skip


def test_values_of_every_type_come_as_they_are(foreign: Foreign) -> None:
    make, given, wanted = KINDS[foreign.kind]
    zone = ["set time_zone = '+00:00'"] if foreign.kind == "mariadb" else []
    foreign.do(make, *zone, f"insert into kinds values ({', '.join('?' * len(given))})", rows=[given])
    names = tuple("abcdefgh"[: len(given)])
    (row,) = open_table(foreign.url, foreign.password, Asked("select * from kinds", names, "a"), seconds=5).rows(
        None, limit=9, skip=0, shape=tuple
    )
    assert row[1:] == wanted and list(map(type, row[1:])) == list(map(type, wanted))


@pytest.mark.real
def test_a_time_that_python_cannot_hold_stops_no_other_row(make_foreign: Callable[[str], Foreign]) -> None:
    foreign = make_foreign("postgresql")
    foreign.do(
        "create table t (a timestamptz, b date)", "insert into t values ('infinity', '-infinity'), (now(), now())"
    )
    rows = open_table(foreign.url, "", Asked("select * from t", ("b",), "a"), seconds=5).rows(
        None, limit=9, skip=0, shape=tuple
    )
    assert rows[1] == ("infinity", "-infinity") and len(rows) == 2


def trouble_with(run: Callable[[], object]) -> SourceTrouble:
    with pytest.raises(SourceTrouble) as problem:
        run()
    return problem.value


def test_a_query_that_does_not_fit_is_told_by_name(jobs: Foreign) -> None:
    missing = trouble_with(lambda: rows_of(table_of(jobs, "select * from johs")))
    assert missing.trouble is Trouble.MISSING and "johs" in str(missing)
    column = trouble_with(lambda: rows_of(table_of(jobs, columns=("job", "where"))))
    assert column.trouble is Trouble.WRONG_ANSWER and "'where'" in str(column) and "job, stand, seen" in str(column)
    wrong = trouble_with(lambda: rows_of(table_of(jobs, "select from from jobs")))
    assert wrong.trouble is Trouble.WRONG_ANSWER


def test_capitals_colons_percents_and_comments_of_a_query_are_left_as_they_are(jobs: Foreign) -> None:
    query = "select job, concat(stand, ' :at 12:30 100%') as stand, seen from jobs where job like 'Q-00%'; -- :x"
    query = query.replace("; --", " --")
    if jobs.kind == "sqlite":
        query = query.replace("concat(stand, ' :at 12:30 100%')", "stand || ' :at 12:30 100%'")
    rows = rows_of(table_of(jobs, query, columns=("JOB", "Stand"), along="Seen"))
    assert len(rows) == 100 and rows[0] == (0, "Q-0000", "bench :at 12:30 100%")


SLOW = {
    "sqlite": "with recursive n(x) as (select 1 union all select x + 1 from n) "
    "select x as seen, x as job, x as stand from n where x < 0",
    "postgresql": "select 1 as seen, 'a' as job, pg_sleep(600)::text as stand",
    "mariadb": "select 1 as seen, 'a' as job, sleep(600) as stand",
}  # fmt: skip


@pytest.mark.long
def test_a_database_that_thinks_too_long_is_left_alone(foreign: Foreign) -> None:
    foreign.do("create table something (x integer)")
    began = dt.datetime.now(dt.UTC)
    found = trouble_with(lambda: rows_of(table_of(foreign, SLOW[foreign.kind], seconds=1)))
    assert found.trouble is Trouble.SLOW
    assert (dt.datetime.now(dt.UTC) - began).total_seconds() < 30


@pytest.mark.parametrize("kind", ["postgresql", "mariadb"])
def test_a_server_that_nobody_runs_is_told_as_away(kind: str) -> None:
    url = f"{kind}+{DRIVERS[kind]}://reader@127.0.0.1:{free_ports(1)[0]}/theirs"
    found = trouble_with(lambda: rows_of(open_table(url, "quay", ASKED, seconds=2)))
    assert found.trouble is Trouble.UNREACHABLE and "quay" not in repr(found) + str(found)


@pytest.mark.real
def test_who_may_not_come_in_or_not_read_is_told_so(make_foreign: Callable[[str], Foreign], mariadb: Mariadb) -> None:
    foreign = make_foreign("mariadb")
    foreign.do("create table jobs (job int, stand int, seen int)")
    wrong = trouble_with(lambda: rows_of(open_table(foreign.url, "guess 4711", ASKED, seconds=5)))
    assert wrong.trouble is Trouble.REFUSED and "password" in str(wrong) and "4711" not in repr(wrong) + str(wrong)
    url = foreign.url.replace("writer@", "reader@")
    assert rows_of(open_table(url, PASSWORD, ASKED, seconds=5)) == []
    query = Asked("select user as job, host as stand, 1 as seen from mysql.global_priv", ("job", "stand"), "seen")
    hidden = trouble_with(lambda: rows_of(open_table(url, PASSWORD, query, seconds=5)))
    assert hidden.trouble is Trouble.REFUSED and "SELECT" in str(hidden)


@pytest.mark.long
@pytest.mark.real
@pytest.mark.parametrize(
    ("kind", "octets"),
    [
        pytest.param("postgresql", 20_000, id="postgresql in the middle of a page"),
        pytest.param("postgresql", 0, id="postgresql at the greeting", marks=pytest.mark.deep),
        pytest.param("mariadb", 20_000, id="mariadb in the middle of a page", marks=pytest.mark.deep),
        pytest.param("mariadb", 0, id="mariadb at the greeting", marks=pytest.mark.deep),
    ],
)
def test_a_server_that_falls_silent_holds_a_look_up_for_seconds_only(
    make_foreign: Callable[[str], Foreign], kind: str, octets: int
) -> None:
    foreign = make_foreign(kind)
    foreign.do(JOBS, "insert into jobs values (?, ?, ?)", rows=[(f"Q-{at}", "x" * 20, at) for at in range(3000)])
    began = dt.datetime.now(dt.UTC)
    with silent_after(foreign.url, octets) as url:
        table = open_table(url, foreign.password, ASKED, seconds=1, grace=0)
        found = trouble_with(lambda: rows_of(table, limit=3000))
    assert found.trouble in (Trouble.SLOW, Trouble.UNREACHABLE)
    assert (dt.datetime.now(dt.UTC) - began).total_seconds() < 30


def test_a_file_that_its_writer_keeps_locked_is_told_as_busy(make_foreign: Callable[[str], Foreign]) -> None:
    foreign = make_foreign("sqlite")
    foreign.do(JOBS)
    with closing(sqlite3.connect(foreign.url.removeprefix("sqlite:///"), isolation_level=None)) as writer:
        writer.execute("begin exclusive")
        found = trouble_with(lambda: rows_of(table_of(foreign, seconds=1)))
        writer.execute("rollback")
    assert found.trouble is Trouble.SLOW and "locked" in str(found)
    assert rows_of(table_of(foreign)) == []


def test_a_file_that_is_not_there_or_no_database_is_told_and_not_made(tmp_path: Path) -> None:
    file = tmp_path / "theirs.db"
    gone = trouble_with(lambda: rows_of(open_table(f"sqlite:///{file}", "", ASKED, seconds=1)))
    assert gone.trouble is Trouble.MISSING and not file.exists()
    file.write_bytes(b"Job;Where\n" * 1000)
    wrong = trouble_with(lambda: rows_of(open_table(f"sqlite:///{file}", "", ASKED, seconds=1)))
    assert wrong.trouble is Trouble.WRONG_ANSWER


@pytest.mark.real
def test_a_name_that_stands_in_a_row_is_in_no_error(make_foreign: Callable[[str], Foreign]) -> None:
    """PostgreSQL quotes the value that it cannot turn into a number."""
    foreign = make_foreign("postgresql")
    foreign.do(JOBS, "insert into jobs values ('Ines Farrow', 'x', 1)")
    found = trouble_with(lambda: rows_of(table_of(foreign, "select job, stand, job::integer as seen from jobs")))
    assert "Ines" not in repr(found) + str(found) and found.__cause__ is None and found.__suppress_context__


@pytest.mark.real
@pytest.mark.parametrize(
    ("kind", "value"), [("stage", "b"), ("bigint", 2**40), ("numeric", 7), ("uuid", str(UUID(int=7)))]
)
def test_a_change_column_of_any_kind_is_compared_as_what_it_is(
    make_foreign: Callable[[str], Foreign], kind: str, value: object
) -> None:
    """PostgreSQL has no operator between an enum, or a uuid, and a value that is told to be a varchar."""
    foreign = make_foreign("postgresql")
    foreign.do(
        "create type stage as enum ('b', 'a')",
        f"create table t (a {kind})",
        "insert into t values (?)",
        rows=[(value,)],
    )
    table = open_table(foreign.url, "", Asked("select * from t", ("a",), "a"), seconds=5)
    ((along, _),) = rows_of(table)
    found = same_kind(along)
    assert found is not None
    assert rows_of(table, Bound(found, same_too=True)) and not rows_of(table, Bound(found, same_too=False))

"""Migrations make exactly the tables of the schema, and one cut off anywhere is whole or not begun."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Engine, event, inspect

from notify.core.errors import Misconfigured
from notify.store import migrate
from notify.store.engine import open_engine
from notify.store.schema import metadata

# How far apart the statements are that are cut off on SQLite; on the server they are twice as far.
EACH = pytest.mark.parametrize("each", [7, pytest.param(1, marks=pytest.mark.deep)], ids=["every seventh", "every one"])


def empty(backend: Any) -> Engine:
    """The backend's database with nothing in it."""
    engine = open_engine(backend.url, pooled=False)
    if engine.dialect.name == "sqlite":
        engine.dispose()
        for file in Path(str(engine.url.database)).parent.glob(f"{Path(str(engine.url.database)).name}*"):
            file.unlink()
    else:
        with engine.begin() as connection:
            connection.exec_driver_sql("drop schema public cascade")
            connection.exec_driver_sql("create schema public")
    return engine


def tables(engine: Engine) -> set[str]:
    return set(inspect(engine).get_table_names()) - {"alembic_version"}


def fail_at(engine: Engine, n: int, act: Callable[[], None]) -> list[int]:
    """Runs `act` before the n-th statement on the engine; the list counts the statements seen."""
    seen = [0]

    def count(*_: Any) -> None:
        seen[0] += 1
        if seen[0] == n:
            act()

    event.listen(engine, "before_cursor_execute", count)
    return seen


def test_the_migrated_database_equals_the_schema(backend: Any) -> None:
    engine = open_engine(backend.url, pooled=False)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": False})
        differences = compare_metadata(context, metadata)
    print(f"FIGURE migrated database={backend.name} tables={len(tables(engine))} differences={len(differences)}")
    assert differences == [] and tables(engine) == set(metadata.tables)
    assert {i["name"] for t in tables(engine) for i in inspect(engine).get_indexes(t)} >= {
        str(index.name) for table in metadata.tables.values() for index in table.indexes
    }
    migrate.check_current(engine)
    engine.dispose()


def test_an_older_newer_or_empty_database_is_refused_with_what_to_do(backend: Any) -> None:
    engine = empty(backend)
    with pytest.raises(Misconfigured, match="none") as refused:
        migrate.check_current(engine)
    assert "upgrade" in refused.value.advice and refused.value.field == "database.url"
    migrate.upgrade(backend.url)
    migrate.upgrade(backend.url)  # a second time does nothing
    with engine.execution_options(writes=True).begin() as connection:
        connection.exec_driver_sql("update alembic_version set version_num = '9999'")
    with pytest.raises(Misconfigured, match="9999"):
        migrate.check_current(engine)
    # Of a step that is none of ours nobody goes on, nor makes tables beside those that are there.
    for change in ("set version_num = '0001x'", "set version_num = '0000'", "set version_num = ''", ""):
        with engine.execution_options(writes=True).begin() as connection:
            connection.exec_driver_sql(f"update alembic_version {change}" if change else "drop table alembic_version")
        with pytest.raises(Misconfigured, match="does not know") as refused:
            migrate.upgrade_engine(engine)
        assert "another backup" in refused.value.advice
        with pytest.raises(Misconfigured):
            migrate.check_current(engine, or_older=True)
    engine.dispose()


@pytest.mark.long
@EACH
def test_a_first_migration_that_fails_at_any_statement_leaves_nothing_and_then_succeeds(
    backend: Any, each: int
) -> None:
    class Cut(Exception):
        pass

    def cut() -> None:
        raise Cut

    engine = empty(backend)
    seen = fail_at(engine, 0, cut)
    migrate.upgrade_engine(engine)
    total, half, step = seen[0], 0, each if backend.name == "sqlite" else 2 * each
    engine.dispose()
    for n in range(1, total + 1, step):
        engine = empty(backend)
        fail_at(engine, n, cut)
        with pytest.raises(Cut):
            migrate.upgrade_engine(engine)
        half += tables(engine) not in (set(), set(metadata.tables))
        engine.dispose()
    migrate.upgrade(backend.url)
    engine = open_engine(backend.url, pooled=False)
    print(f"FIGURE B7_failed database={backend.name} statements={total} tried={len(range(1, total + 1, step))} "
          f"half_made={half}")  # fmt: skip
    assert total > len(metadata.tables) and half == 0 and tables(engine) == set(metadata.tables)
    engine.dispose()


def _killed(url: str, n: int) -> None:
    engine = open_engine(url, pooled=False)
    fail_at(engine, n, lambda: os._exit(137))
    migrate.upgrade_engine(engine)


@pytest.mark.real
@EACH
def test_a_first_migration_killed_at_each_statement_is_finished_by_the_next(backend: Any, each: int) -> None:
    engine = empty(backend)
    seen = fail_at(engine, 0, lambda: None)
    migrate.upgrade_engine(engine)
    total, kills, half, fork = seen[0], 0, 0, multiprocessing.get_context("fork")
    engine.dispose()
    for n in range(1, total + 1, each if backend.name == "sqlite" else 2 * each):
        engine = empty(backend)
        engine.dispose()
        child = fork.Process(target=_killed, args=(backend.url, n))
        child.start()
        child.join(30)
        kills += child.exitcode == 137
        half += tables(engine) not in (set(), set(metadata.tables))
        engine.dispose()
    migrate.upgrade(backend.url)
    engine = open_engine(backend.url, pooled=False)
    migrate.check_current(engine)
    print(f"FIGURE B7_migration database={backend.name} versions=1 kills={kills} half_made={half} data_lost=0")
    assert kills >= 5 and half == 0 and tables(engine) == set(metadata.tables)
    engine.dispose()

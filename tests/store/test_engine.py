"""Every connection is set as the design demands, a wrong answer is refused, snapshots hold still."""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, text

from notify.core.errors import Misconfigured
from notify.store.engine import open_engine
from tests.parts.databases import Backend
from tests.parts.house import make_house

# What a connection must be told so that nothing acknowledged is lost, in the words SQLite answers with.
DEMANDED = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "secure_delete": 1, "mmap_size": 0}


@pytest.fixture
def small(database_urls: Any, clock: Any, tmp_path: Path, tzdata_only: None) -> Any:
    """An installation on SQLite alone."""
    made = make_house(tmp_path, database_urls("sqlite"), clock=clock)
    yield made
    made.services.close()


def wrong_settings(connection: Connection) -> list[str]:
    found = []
    for name, wanted in DEMANDED.items():
        row = connection.exec_driver_sql(f"pragma {name}").first()
        if row is not None and row[0] != wanted:
            found.append(f"{name}={row[0]}")
    busy = connection.exec_driver_sql("pragma busy_timeout").scalar_one()
    auto = connection.exec_driver_sql("pragma wal_autocheckpoint").scalar_one()
    return found + ([] if busy >= 5000 else [f"busy_timeout={busy}"]) + ([] if auto == 0 else ["wal_autocheckpoint"])


def hold_many(engine: Engine, count: int) -> list[list[str]]:
    """Opens `count` connections in as many threads, all held at once; what is wrong with each."""
    gate, answers = threading.Barrier(count), []

    def look() -> None:
        with engine.connect() as connection:
            answers.append(wrong_settings(connection))
            gate.wait(timeout=60)

    threads = [threading.Thread(target=look) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def test_fifty_connections_of_both_files_pooled_fresh_and_threaded_are_set_right(small: Any) -> None:
    db = small.ctx.db
    fresh = open_engine(str(db.engine.url), pooled=False)
    answers = hold_many(db.engine, 20) + hold_many(db.vault._engine, 20)
    for engine in (fresh, fresh, fresh, fresh, fresh, db.engine, db.engine, db.engine, db.vault._engine, fresh):
        with engine.connect() as connection:
            answers.append(wrong_settings(connection))
    with small.read() as unit, db.alone() as alone:
        assert wrong_settings(unit.connection) == wrong_settings(alone) == []
    wrong = sum(1 for answer in answers if answer)
    fresh.dispose()
    print(f"FIGURE B1_settings connections={len(answers)} wrong={wrong} sqlite={sqlite3.sqlite_version}")
    assert len(answers) == 50 and wrong == 0, answers


def test_a_plain_connection_would_be_found_wrong(tmp_path: Path) -> None:
    from sqlalchemy import create_engine

    plain = create_engine(f"sqlite:///{tmp_path / 'plain.db'}")
    with plain.connect() as connection:
        assert {"journal_mode=delete", "foreign_keys=0"} <= set(wrong_settings(connection))
    plain.dispose()


def test_a_database_that_cannot_keep_a_journal_is_refused_with_the_setting_and_advice() -> None:
    engine = open_engine("sqlite://", pooled=False)
    with pytest.raises(Misconfigured) as refused, engine.connect():
        pass
    assert "journal_mode" in refused.value.what and refused.value.field == "database.url"
    with pytest.raises(Misconfigured):
        open_engine("mysql://localhost/x")


def test_a_writer_holds_the_write_lock_from_its_first_moment(small: Any) -> None:
    db = small.ctx.db
    other = sqlite3.connect(db.engine.url.database, timeout=0)
    with db.write(small.shop_id), pytest.raises(sqlite3.OperationalError, match="locked"):
        other.execute("begin immediate")
    other.execute("begin immediate")
    other.rollback()
    other.close()


def test_a_reading_transaction_sees_one_state_whatever_is_written_meanwhile(house: Any) -> None:
    count = text("select count(*) from tickets")
    with house.read() as unit:
        before = unit.connection.execute(count).scalar_one()
        writer = threading.Thread(target=house.check_in)
        writer.start()
        writer.join()
        assert unit.connection.execute(count).scalar_one() == before == 0
    with house.read() as unit:
        assert unit.connection.execute(count).scalar_one() == 1


def test_files_are_for_their_owner_only_whatever_the_umask(clock: Any, tmp_path: Path, tzdata_only: None) -> None:
    before = os.umask(0o022)
    try:
        engine = open_engine(f"sqlite:///{tmp_path / 'alone.db'}")
        with engine.execution_options(writes=True).begin() as connection:
            connection.exec_driver_sql("create table t (a)")
        modes = {f.name: stat.S_IMODE(f.stat().st_mode) for f in tmp_path.iterdir()}
        assert modes == dict.fromkeys(("alone.db", "alone.db-wal", "alone.db-shm"), 0o600)
        engine.dispose()
        made = make_house(tmp_path, f"sqlite:///{tmp_path / 'house' / 'data' / 'main.db'}", clock=clock, copied=False)
        made.check_in()
        files = [f for f in (tmp_path / "house").rglob("*") if f.is_file()]
        folders = [tmp_path / "house", *(f for f in (tmp_path / "house").rglob("*") if f.is_dir())]
        assert {"main.db", "main.db-wal", "keys.db", "keys.db-wal", "master.key"} <= {f.name for f in files}
        open_to_others = [f.name for f in files if f.stat().st_mode & 0o177]
        open_to_others += [f.name for f in folders if stat.S_IMODE(f.stat().st_mode) != 0o700]
        made.services.close()
    finally:
        os.umask(before)
    print(f"FIGURE private_files files={len(files)} folders={len(folders)} open_to_others={len(open_to_others)}")
    assert open_to_others == []


def test_an_error_of_the_database_does_not_show_what_the_statement_carried(backend: Backend) -> None:
    engine = open_engine(backend.url)
    with pytest.raises(Exception, match="no_such_table") as caught, engine.connect() as connection:
        connection.execute(text("select 1 from no_such_table where a = :a"), {"a": "+447700900123"})
    assert "447700900123" not in str(caught.value)
    engine.dispose()

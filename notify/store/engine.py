"""Engines whose every connection is set as the design demands, and proves it."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from notify.core.errors import Misconfigured, Unavailable
from notify.store.trouble import let_go, say_trouble

# What each new SQLite connection is told, and must answer when asked back.
# synchronous=FULL: WAL with NORMAL loses acknowledged commits at power loss; secure_delete: overwritten
# text must not stay readable; wal_autocheckpoint=0: exactly one place checkpoints (the WAL-reset race of
# SQLite 3.7.0-3.51.2, sqlite.org/wal.html#walresetbug).
PRAGMAS: tuple[tuple[str, str | int, str | int], ...] = (
    ("busy_timeout", 10_000, 10_000),
    ("journal_mode", "WAL", "wal"),
    ("synchronous", "FULL", 2),
    ("foreign_keys", "ON", 1),
    ("secure_delete", "ON", 1),
    ("wal_autocheckpoint", 0, 0),
    ("mmap_size", 0, 0),
    ("temp_store", "MEMORY", 2),
)


def open_engine(url: str, *, pooled: bool = True) -> Engine:
    """An engine for a SQLite or PostgreSQL URL; nothing is connected yet. Raises Misconfigured for another kind."""
    kind = make_url(url).get_backend_name()
    if kind not in ("sqlite", "postgresql"):
        raise Misconfigured(
            f"database.url names {kind!r}, which Shelfbell cannot use",
            "Use a sqlite:/// or postgresql:// address.",
            field="database.url",
        )
    engine = _open_sqlite(url, pooled=pooled) if kind == "sqlite" else _open_postgres(url)
    event.listen(engine, "handle_error", say_trouble, retval=True)
    return engine


def _open_postgres(url: str) -> Engine:
    engine = create_engine(url, hide_parameters=True, pool_pre_ping=True, pool_size=10, max_overflow=20)
    event.listen(engine, "connect", _take_any_text)
    return engine


def _open_sqlite(url: str, *, pooled: bool) -> Engine:
    pool: dict[str, Any] = {"pool_size": 20, "max_overflow": 20} if pooled else {"poolclass": NullPool}
    # hide_parameters: what a statement carried must not stand in an error, and so in a log.
    engine = create_engine(
        url, hide_parameters=True, connect_args={"timeout": 10.0, "check_same_thread": False}, **pool
    )
    event.listen(engine, "do_connect", _make_private)
    event.listen(engine, "connect", _set_pragmas)
    event.listen(engine, "begin", _begin)
    event.listen(engine, "checkin", let_go)
    return engine


def _take_any_text(connection: Any, _record: object) -> None:
    """PostgreSQL's text has no U+0000, and refuses the whole statement: an identifier with one must just be unknown."""
    from psycopg.types.string import StrDumperUnknown  # what text is sent by unless a statement says otherwise

    class Fitted(StrDumperUnknown):  # type: ignore[misc]  # psycopg is an extra; without it mypy sees nothing
        def dump(self, obj: str) -> Any:
            return super().dump(obj.replace("\0", "\ufffd"))

    connection.adapters.register_dumper(str, Fitted)


def _make_private(_dialect: object, _record: object, where: list[Any], _options: object) -> None:
    # SQLite would make the file with the umask of whoever starts it; its journals take the file's mode.
    file = Path(str(where[0])) if where else Path()
    if file.parent.is_dir() and not file.exists() and file.name not in ("", ":memory:"):
        os.close(os.open(file, os.O_CREAT | os.O_RDWR, 0o600))


def _set_pragmas(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None
    cursor = connection.cursor()
    for name, wanted, answer in PRAGMAS:
        cursor.execute(f"pragma {name}={wanted}")
        got = cursor.execute(f"pragma {name}").fetchone()
        if got is not None and got[0] != answer:
            raise Misconfigured(
                f"SQLite answers {got[0]!r} for {name} where {answer!r} is needed",
                "Keep the data folder on a local disk, not on a network share.",
                field="database.url",
            )
    cursor.close()


def _begin(connection: Any) -> None:
    # IMMEDIATE for every writer: a deferred one dies at its first write when another was faster.
    options = connection.get_execution_options()
    if options.get("glance") or options.get("isolation_level") == "AUTOCOMMIT":
        return
    how = "IMMEDIATE" if options.get("writes") else "DEFERRED"
    connection.exec_driver_sql(f"BEGIN {how}")


# Whoever still sees rows as they were before the newest commit: what they see, a rewrite has to keep. Backends here;
# copies of the server that ask for it (hot_standby_feedback: their sender is of no database), with a slot or without;
# transactions that were prepared and then left.
_OLD_READERS = text(
    "select (select count(*) from pg_stat_activity where pid <> pg_backend_pid() and greatest(age(backend_xmin), "
    "age(backend_xid)) > 0 and (datname = current_database() or backend_type = 'walsender')) "
    "+ (select count(*) from pg_replication_slots where age(xmin) > 0) "
    "+ (select count(*) from pg_prepared_xacts where database = current_database())"
)


def rewrite_tables(engine: Engine, names: Iterable[str]) -> bool:
    """VACUUM FULL of PostgreSQL tables, so that no dead row stays in their files. False while a reader is in the way.

    A plain VACUUM leaves most of an overwritten row readable, and VACUUM FULL copies whatever an old snapshot
    can still see: so it is proved only when no older snapshot was open as it began. Whoever comes while it waits
    for a table waits behind it, so it soon gives up.
    """
    try:
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("set lock_timeout = '100ms'"))
            try:
                alone = not connection.execute(_OLD_READERS).scalar_one()
                for name in names:
                    connection.execute(text(f"vacuum full {name}"))
            finally:
                connection.execute(text("reset lock_timeout"))
    except (DBAPIError, Unavailable):  # a table in use for longer than the timeout, or no room: the next run does it
        return False
    return alone

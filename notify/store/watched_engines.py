"""Connections to other systems' databases: only read, never for long, cut off from outside if need be."""

from __future__ import annotations

import os
import socket
import sqlite3
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, ExceptionContext, create_engine, event
from sqlalchemy.pool import NullPool

from notify.core.sources import SourceTrouble, Trouble

CONNECT_SECONDS = 10
GRACE = 1.0  # the server's own limit comes first: its error tells more than a line that was cut
_SQLITE_MAY = frozenset({
    sqlite3.SQLITE_SELECT, sqlite3.SQLITE_READ, sqlite3.SQLITE_FUNCTION, sqlite3.SQLITE_RECURSIVE,
    sqlite3.SQLITE_TRANSACTION,
})  # fmt: skip


class Line:
    """The one connection of a look: `cut` ends it from another thread, whatever it waits for."""

    def __init__(self) -> None:
        self.was_cut = False
        self._raw: Any = None

    def holds(self, raw: Any, _record: object) -> None:
        """For the pool's `connect`: from here on there is something to cut."""
        self._raw = raw

    def cut(self) -> None:
        """SQLite's statement is interrupted; a server's line is shut, and whoever reads from it wakes up."""
        self.was_cut = True
        with suppress(Exception):  # it may have ended by itself in the same moment
            if isinstance(self._raw, sqlite3.Connection):
                self._raw.interrupt()
            else:
                _shut(self._raw)

    def within(self, seconds: float) -> threading.Timer:
        """A running timer that cuts; whoever asked for it cancels it."""
        timer = threading.Timer(seconds, self.cut)
        timer.daemon = True
        timer.start()
        return timer


def _shut(raw: Any) -> None:
    number = raw.fileno() if hasattr(raw, "fileno") else raw._sock.fileno()
    with socket.socket(fileno=os.dup(number)) as line:
        line.shutdown(socket.SHUT_RDWR)


def open_watched(url: URL, line: Line, *, seconds: int) -> Engine:
    """An engine for reading only, whose statements end after `seconds`. Nothing is connected yet.

    Raises SourceTrouble when this Python lacks what the kind of database needs.
    """
    how = {"sqlite": _sqlite, "postgresql": _postgres}.get(url.get_backend_name(), _mariadb)
    try:
        engine = how(url, seconds)
    except ImportError:
        raise SourceTrouble(
            Trouble.MISSING,
            f"What reads {url.get_backend_name()} is not installed",
            "Install Shelfbell with its extra postgres or mariadb.",
        ) from None
    event.listen(engine, "connect", line.holds, insert=True)
    event.listen(engine, "handle_error", _close_cursor)
    return engine


def _sqlite(url: URL, seconds: int) -> Engine:
    def connect() -> sqlite3.Connection:
        file = f"file:{quote(str(Path(url.database or '')))}?mode=ro"
        raw = sqlite3.connect(
            file, uri=True, timeout=min(0.8 * seconds, 5), isolation_level=None, check_same_thread=False
        )
        raw.text_factory = lambda data: data.decode("utf-8", "replace")
        raw.execute("pragma query_only=on")
        raw.set_authorizer(_may)
        return raw

    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool, hide_parameters=True)
    event.listen(engine, "begin", _saying("BEGIN DEFERRED"))
    return engine


def _may(action: int, first: str | None, second: str | None, *_where: object) -> int:
    """SQLite asks before it runs a statement: reading, and the one pragma by which SQLAlchemy greets it."""
    greeting = action == sqlite3.SQLITE_PRAGMA and first == "read_uncommitted" and second is None
    return sqlite3.SQLITE_OK if action in _SQLITE_MAY or greeting else sqlite3.SQLITE_DENY


def _postgres(url: URL, seconds: int) -> Engine:
    engine = create_engine(
        url, poolclass=NullPool, hide_parameters=True, use_native_hstore=False,
        connect_args={"connect_timeout": min(CONNECT_SECONDS, seconds), "application_name": "shelfbell"},
        execution_options={"postgresql_readonly": True},
    )  # fmt: skip
    limits = f"set local statement_timeout = '{seconds}s'; set local lock_timeout = '{min(seconds, 5)}s'"
    event.listen(engine, "connect", _take_any_time)
    event.listen(engine, "begin", _saying(limits))
    return engine


def _take_any_time(raw: Any, _record: object) -> None:
    """A time beyond Python's years ("infinity") is given as text, so that one such row does not stop all others."""
    from psycopg import DataError
    from psycopg.adapt import Loader

    def leniently(number: int) -> None:
        usual: type[Loader] = raw.adapters.get_loader(number, 0)

        class Lenient(Loader):  # type: ignore[misc]  # psycopg is an extra; without it mypy sees nothing
            def __init__(self, oid: int, context: Any = None) -> None:
                super().__init__(oid, context)
                self._usual = usual(oid, context)

            def load(self, data: Any) -> Any:
                try:
                    return self._usual.load(data)
                except DataError:
                    return bytes(data).decode()

        raw.adapters.register_loader(number, Lenient)

    for name in ("date", "timestamp", "timestamptz", "interval"):
        leniently(raw.adapters.types[name].oid)


def _mariadb(url: URL, seconds: int) -> Engine:
    waits = dict.fromkeys(("read_timeout", "write_timeout"), seconds + 2)  # of one packet; the timer is for the whole
    waits["connect_timeout"] = min(CONNECT_SECONDS, seconds)
    engine = create_engine(url, poolclass=NullPool, hide_parameters=True, connect_args=waits)

    def greet(raw: Any, _record: object) -> None:
        is_mariadb = "mariadb" in raw.get_server_info().lower()
        limit = f"max_statement_time = {seconds}" if is_mariadb else f"max_execution_time = {seconds * 1000}"
        with raw.cursor() as cursor:  # with UTC for its TIMESTAMPs, which are instants (read_types in watched_table)
            cursor.execute("set session transaction read only")
            cursor.execute(f"set time_zone = '+00:00', {limit}, lock_wait_timeout = 5, innodb_lock_wait_timeout = 5")

    event.listen(engine, "connect", greet)
    event.listen(engine, "begin", _saying("START TRANSACTION READ ONLY"))
    return engine


def _close_cursor(context: ExceptionContext) -> None:
    """A cursor that streams is left open by an error, and its line is of no use any more: it is closed unasked."""
    context.is_disconnect = True
    cursor = getattr(context.execution_context, "cursor", None)
    if cursor is None:
        return
    if (result := getattr(cursor, "_result", None)) is not None:
        result.unbuffered_active = False  # PyMySQL would wait for the rest of the page
    with suppress(Exception):
        cursor.close()


def _saying(statement: str) -> Callable[[Connection], None]:
    def begin(connection: Connection) -> None:
        for one in statement.split("; "):
            connection.exec_driver_sql(one)

    return begin

"""What a flow says to its database, kept word for word, and said again through the bare driver."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Engine, event, make_url


@dataclass(slots=True)
class Attempt:
    """The statements of one transaction with their values, and whether it was committed."""

    statements: list[tuple[str, Any]] = field(default_factory=list)
    committed: bool = False


@contextmanager
def recording(engine: Engine) -> Iterator[list[Attempt]]:
    """Every writing transaction of this thread while it lasts, in order; those that only read are not among them."""
    attempts: list[Attempt] = []

    def begin(connection: Any) -> None:
        attempts.append(Attempt())

    def statement(connection: Any, cursor: Any, sql: str, values: Any, context: Any, many: bool) -> None:
        if attempts and not sql.upper().startswith("BEGIN"):
            attempts[-1].statements.extend((sql, one) for one in (values if many else [values]))

    def commit(connection: Any) -> None:
        attempts[-1].committed = True

    hooks: dict[str, Callable[..., Any]] = {"begin": begin, "before_cursor_execute": statement, "commit": commit}
    for name, hook in hooks.items():
        event.listen(engine, name, hook)
    try:
        yield attempts
    finally:
        for name, hook in hooks.items():
            event.remove(engine, name, hook)


Say = Callable[[Attempt], None]


def over_sqlite(path: str) -> Callable[[], Say]:
    """Sayers for threads of this process: one connection each, and one lock before SQLite's own."""
    lock = threading.Lock()

    def open_line() -> Say:
        line = sqlite3.connect(path, isolation_level=None, check_same_thread=False, cached_statements=500)
        for pragma in ("journal_mode=wal", "synchronous=full", "foreign_keys=on", "secure_delete=on",
                       "busy_timeout=10000"):  # fmt: skip
            line.execute(f"pragma {pragma}")

        def say(attempt: Attempt) -> None:
            with lock:
                line.execute("begin immediate")
                for sql, values in attempt.statements:
                    line.execute(sql, values).fetchall()
                line.execute("commit" if attempt.committed else "rollback")

        return say

    return open_line


def over_postgres(url: str) -> Callable[[], Say]:
    """Sayers through psycopg: the shop's advisory lock is one of the statements said again."""
    import psycopg

    where = make_url(url)
    known = {"host": where.query.get("host") or where.host, "port": where.port, "user": where.username,
             "password": where.password, "dbname": where.database}  # fmt: skip
    parameters: dict[str, Any] = {key: value for key, value in known.items() if value}

    def open_line() -> Say:
        line = psycopg.connect(**parameters)

        def say(attempt: Attempt) -> None:
            with closing(line.cursor()) as cursor:
                for sql, values in attempt.statements:
                    cursor.execute(sql, values)
                    if cursor.description:
                        cursor.fetchall()
            if attempt.committed:
                line.commit()
            else:
                line.rollback()

        return say

    return open_line

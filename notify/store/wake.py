"""Hears, on PostgreSQL, that somebody added messages, in whichever process: LISTEN and NOTIFY.

What is heard only saves waiting for the next tick: nothing depends on it, and a lost notification loses nothing.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextlib import closing
from typing import Any

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from notify.core.errors import Unavailable
from notify.store.database import Database, Unit

CHANNEL = "shelfbell_outbox"
_CALL = text(f"notify {CHANNEL}")
PAUSE = 5.0  # seconds between two tries to reach a server that is away; ticks go on meanwhile
LOOK_UP = 1.0  # seconds after which a listener looks whether it should stop
log = logging.getLogger("shelfbell.store")


def call(unit: Unit) -> None:
    """Wakes every listener once this transaction is committed (PostgreSQL; one call for however many messages)."""
    if unit.connection.dialect.name == "postgresql":
        unit.connection.execute(_CALL)


class Ear:
    """Listens on a connection of its own, in a thread of its own, until stopped; `heard` is called for each call."""

    def __init__(self, db: Database, heard: Callable[[], None]) -> None:
        self._db, self._heard, self._stopping = db, heard, threading.Event()
        self._thread = threading.Thread(target=self._listen, name="shelfbell-ear", daemon=True)

    def start(self) -> None:
        """Begins to listen."""
        self._thread.start()

    def stop(self, *, seconds: float = 2.0) -> bool:
        """Ends it; False when it took longer than `seconds`."""
        self._stopping.set()
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def _listen(self) -> None:
        while not self._stopping.is_set():
            try:
                with closing(self._line()) as line:
                    self._heard()  # what was called while nobody listened
                    self._hear(line)
            except (_driver_error(), SQLAlchemyError, Unavailable) as error:
                log.warning("nobody is told of new messages at once: %s", type(error).__name__)
                self._stopping.wait(PAUSE)

    def _line(self) -> Any:
        """A psycopg connection that has left the pool, and listens."""
        taken = self._db.engine.raw_connection()
        line: Any = taken.driver_connection
        taken.detach()
        line.autocommit = True
        line.execute(f"listen {CHANNEL}")
        return line

    def _hear(self, line: Any) -> None:
        while not self._stopping.is_set():
            for _ in line.notifies(timeout=LOOK_UP, stop_after=1):
                self._heard()


def _driver_error() -> type[Exception]:
    from psycopg import Error  # psycopg is an extra, needed only where there is PostgreSQL

    return Error  # type: ignore[no-any-return]

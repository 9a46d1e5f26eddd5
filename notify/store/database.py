"""Transactions: a unit of work bound to one shop, on SQLite or PostgreSQL alike."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, text

from notify.core.errors import Counted
from notify.core.holidays import Almanac, NoAlmanac
from notify.store import later, shown
from notify.store.engine import open_engine
from notify.store.opener import Opener, Place
from notify.store.vault import Vault

T = TypeVar("T")


@dataclass(slots=True)
class Unit:
    """One open transaction of one shop. Every store function takes it and sees that shop's rows only."""

    connection: Connection
    shop_id: str
    opener: Opener
    new_id: Callable[[], str]
    vault: Vault = field(repr=False)
    kept: dict[tuple[str, str], tuple[str, Any]] = field(repr=False)  # of this process, see shops.py
    almanac: Almanac = field(repr=False)
    known: dict[tuple[str, str], Any] | None = field(default=None, repr=False)  # see read_ahead
    stamp: str | None = None  # of the shop's settings and hours, once read or until this unit changes them (shops.py)

    def once(self, key: tuple[str, str], load: Callable[[], T]) -> T:
        """What `load` gives; in a unit that changes none of it, what was read before under this key."""
        if self.known is None:
            return load()
        if key not in self.known:
            self.known[key] = load()
        return self.known[key]  # type: ignore[no-any-return]

    def seal(self, person_id: str, table: str, row: str, column: str, plain: str | bytes) -> bytes:
        """Encrypts a text for the column `column` of one row."""
        return self.opener.seal(person_id, Place(table, row, column), plain)

    def open(self, person_id: str, table: str, row: str, column: str, sealed: bytes | None) -> str:
        """The text behind a sealed column; empty when there is none."""
        return self.opener.open(person_id, Place(table, row, column), sealed) if sealed else ""

    def grouped(self) -> AbstractContextManager[None]:
        """Inside, what may wait of the writes to many rows is said together (see later.py)."""
        return later.grouped(self.connection)

    @contextmanager
    def savepoint(self) -> Iterator[None]:
        """Part of the transaction: an exception inside undoes only this part, and goes on to the caller.

        Said to the driver as it stands: SQLAlchemy's own begins each with a new name, whose two statements it compiles
        anew, a sixth of the time that a row of a source takes (measured). One in another may have the same name.
        """
        if (waits := later.of(self.connection)) is not None:
            try:
                with waits.part():
                    yield
            except BaseException:
                self.stamp = None
                raise
            return
        say = self.connection.exec_driver_sql
        say("SAVEPOINT part")
        try:
            yield
        except BaseException:
            self.stamp = None  # what it stood for may be undone with the rest
            if not self.connection.invalidated:  # else the server is away, and all is undone
                say("ROLLBACK TO SAVEPOINT part")
                say("RELEASE SAVEPOINT part")
            raise
        say("RELEASE SAVEPOINT part")


class Database:
    """The main database with its vault: short transactions, one writer at a time on SQLite."""

    def __init__(self, url: str, *, vault: Vault, new_id: Callable[[], str], almanac: Almanac | None = None) -> None:
        """`almanac` knows public holidays; it goes with every unit, so that all ask the same one what is open."""
        self.engine: Engine = open_engine(url)
        shown.keep_stamps(self.engine)
        later.listen(self.engine)
        # For a single SELECT: on SQLite one statement is its own snapshot and needs no BEGIN around it.
        self.glance = self.engine.execution_options(glance=True)
        self.vault = vault
        self._new_id = new_id
        self._almanac = almanac or NoAlmanac()
        self._kept: dict[tuple[str, str], tuple[str, Any]] = {}
        self._writer = threading.Lock()
        self.after_write: Callable[[], None] = lambda: None  # wakes whoever waits for work in this process
        self._is_sqlite = self.engine.dialect.name == "sqlite"

    @property
    def is_sqlite(self) -> bool:
        """Whether the embedded database is in use."""
        return self._is_sqlite

    @contextmanager
    def write(self, shop_id: str) -> Iterator[Unit]:
        """A writing transaction: committed at the end, rolled back whole by any exception.

        Writers of one shop follow each other: by BEGIN IMMEDIATE behind a lock of this process on
        SQLite, by an advisory lock on PostgreSQL. So numbers in a row and the last place in a slot
        need no retry. Of a refusal that is Counted, what was written before it is kept.
        """
        refused: Counted | None = None
        with self._connection(writes=True) as connection:
            if not self._is_sqlite:
                connection.execute(text("select pg_advisory_xact_lock(hashtext(:shop))"), {"shop": shop_id})
            try:
                yield self._unit(connection, shop_id)
            except Counted as counted:
                refused = counted
            shown.end(connection, shop_id)
        self.after_write()
        if refused is not None:
            raise refused

    @contextmanager
    def write_beside(self, shop_id: str) -> Iterator[Unit]:
        """A writing transaction that takes no shop lock on PostgreSQL: for claims by SKIP LOCKED and their settling."""
        with self._connection(writes=True) as connection:
            yield self._unit(connection, shop_id)
            shown.end(connection, shop_id)

    @contextmanager
    def read(self, shop_id: str) -> Iterator[Unit]:
        """A reading transaction: one consistent snapshot, rolled back at the end. What it has read it remembers.

        PostgreSQL's usual level gives each statement a snapshot of its own, so it is told otherwise there.
        """
        options = {} if self._is_sqlite else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with self.engine.connect().execution_options(**options) as connection:
            transaction = connection.begin()
            try:
                unit = self._unit(connection, shop_id)
                unit.known = {}
                yield unit
            finally:
                transaction.rollback()

    @contextmanager
    def _connection(self, *, writes: bool) -> Iterator[Connection]:
        if not self._is_sqlite:
            with self.engine.begin() as connection:
                shown.begin(connection)
                yield connection
            return
        with (
            self._writer,
            self.engine.connect().execution_options(writes=writes) as connection,
            connection.begin(),
        ):
            shown.begin(connection)
            yield connection

    def _unit(self, connection: Connection, shop_id: str) -> Unit:
        return Unit(connection, shop_id, Opener(self.vault), self._new_id, self.vault, self._kept, self._almanac)

    @contextmanager
    def alone(self) -> Iterator[Connection]:
        """A connection outside any transaction, while no other writer of this process is at work (SQLite)."""
        with (
            self._writer,
            self.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection,
        ):
            yield connection

    def checkpoint(self, *, truncate: bool = False) -> bool:
        """Moves the journal into the main file (SQLite); False when a reader was in the way.

        Only whoever has the files to themselves, or serves them, calls it (sqlite.org/wal.html#walresetbug).
        """
        if not self._is_sqlite:
            return True
        how = "TRUNCATE" if truncate else "PASSIVE"
        with self.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            # Writers stand still while it waits for a reader: a second is enough, the next run tries again.
            usual = connection.exec_driver_sql("pragma busy_timeout").scalar_one()
            connection.exec_driver_sql("pragma busy_timeout=1000")
            try:
                row: Any = connection.execute(text(f"pragma wal_checkpoint({how})")).first()
            finally:
                connection.exec_driver_sql(f"pragma busy_timeout={usual}")
        return row is not None and row[0] == 0

    def size(self) -> int:
        """How many octets the database has on its disk, free pages included."""
        ask = (
            "select page_count * page_size from pragma_page_count(), pragma_page_size()"
            if self._is_sqlite
            else "select pg_database_size(current_database())"
        )
        with self.engine.connect() as connection:
            return int(connection.execute(text(ask)).scalar_one())

    def close(self) -> None:
        """Gives every connection back."""
        self.engine.dispose()

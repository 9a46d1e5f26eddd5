"""Copies a SQLite database while it is served and written to, and judges such a copy.

The copy is one snapshot: a reading transaction is opened first, so the backup API goes on through it however much is
written meanwhile (without one it begins anew with each commit of another connection, and under steady writing never
ends: sqlite.org/backup.html). Nothing here checkpoints: a snapshot only keeps the journal from being emptied until
the copy is done.

A copy is a file without a name, so that no kill can leave it behind. It is written without waiting for the disk, since
only the sealed archive that is made of it has to last.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Engine, make_url

STEP = 1024  # pages: 4 MB, some milliseconds of a disk
REST = 0.001  # seconds between two steps, in which others have the disk
SCRATCH = ".scratch-"  # begins the name that a copy has for a moment, before it has none
_ROLLBACK = b"\x01\x01"  # octets 18 and 19 of the file format: no journal beside it is needed to open it
BLOCK = 1 << 16  # octets that are read or compared at once: they fit the cache of a core (measured)
Progress = Callable[[int, int], None]
"""Told how many pages are done, and of how many."""


@dataclass(slots=True)
class Scratch:
    """A database file: `number` is its descriptor, `connection` reads it by SQL once it is filled.

    `target` is what the backup API writes through; it remembers the journal of the database that it copied.
    """

    number: int
    target: sqlite3.Connection = field(repr=False)
    connection: sqlite3.Connection = field(repr=False)

    def blocks(self) -> Iterator[bytes]:
        """Its octets from the beginning, without moving anybody's place in it."""
        at = 0
        while block := os.pread(self.number, BLOCK, at):
            at += len(block)
            yield block

    def put(self, piece: memoryview, at: int) -> None:
        """Writes octets to their place."""
        os.pwrite(self.number, piece, at)

    def holds(self, piece: memoryview, at: int) -> bool:
        """Whether these octets stand there."""
        return os.pread(self.number, len(piece), at) == piece.tobytes()

    def size(self) -> int:
        """Octets."""
        return os.fstat(self.number).st_size


@contextmanager
def scratch(folder: Path) -> Iterator[Scratch]:
    """An empty database file in `folder` that is gone with its descriptors, however this process ends."""
    number, name = tempfile.mkstemp(prefix=SCRATCH, dir=folder)
    with _opened(number, Path(name)) as made:
        with suppress(FileNotFoundError):  # somebody swept just now
            os.unlink(name)
        yield made


@contextmanager
def named(path: Path) -> Iterator[Scratch]:
    """A new database file that keeps its name, for its owner only; on the disk when the block ends."""
    number = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    with _opened(number, path) as made:
        yield made
        os.fsync(number)


@contextmanager
def _opened(number: int, path: Path) -> Iterator[Scratch]:
    with ExitStack() as stack:
        stack.callback(os.close, number)
        # nolock: nobody else opens it, and closing one descriptor of a file ends POSIX locks held through another.
        target, reader = (
            stack.enter_context(closing(sqlite3.connect(f"{path.as_uri()}?nolock=1", uri=True, isolation_level=None)))
            for _ in range(2)
        )
        target.execute("pragma journal_mode=off")
        target.execute("pragma synchronous=off")
        reader.execute("pragma temp_store=memory")
        yield Scratch(number, target, reader)


def sweep(folder: Path) -> int:
    """Removes what a kill left in the moment between making a scratch file and taking its name away; how many.

    Only for whoever knows that no copy is being made just now, or that an empty file is all that can be lost.
    """
    found = [file for file in folder.glob(f"{SCRATCH}*") if file.is_file() and not file.stat().st_size]
    for file in found:
        with suppress(OSError):
            file.unlink()
    return len(found)


def copy(
    engine: Engine, into: Scratch, *, progress: Progress = lambda done, whole: None, step: int = STEP,
    rest: float = REST, fault: Callable[[str], None] = lambda point: None,
) -> None:  # fmt: skip
    """Copies the whole database of `engine` (SQLite) as it is in the moment of the call. `fault` marks that moment."""

    def told(_status: int, remaining: int, whole: int) -> None:
        progress(whole - remaining, whole)
        if remaining:
            time.sleep(rest)

    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite3.Connection)
        fault("backup:before")
        source.execute("begin")
        try:
            source.execute("select count(*) from sqlite_master").fetchone()  # only a read opens the snapshot
            fault("backup:snapshot")
            source.backup(into.target, pages=step, progress=told)
        finally:
            source.execute("rollback")
    os.pwrite(into.number, _ROLLBACK, 18)


def sqlite_file(url: str) -> Path | None:
    """The file of a SQLite database's address; None for another kind."""
    told = make_url(url)
    return Path(told.database or "") if told.get_backend_name() == "sqlite" else None


def rows(connection: sqlite3.Connection) -> int:
    """How many rows all tables have together."""
    names = [row[0] for row in connection.execute("select name from sqlite_master where type = 'table'")]
    return sum(connection.execute(f'select count(*) from "{name}"').fetchone()[0] for name in names)  # noqa: S608


def step(connection: sqlite3.Connection) -> str:
    """The step that its tables are at (store/migrate); empty for people's keys, which have none."""
    try:
        return str((connection.execute("select version_num from alembic_version").fetchone() or [""])[0])
    except sqlite3.DatabaseError:
        return ""


def is_whole(connection: sqlite3.Connection) -> bool:
    """Whether SQLite's own check of every page and index finds nothing (integrity_check)."""
    try:
        return [row[0] for row in connection.execute("pragma integrity_check(1)")] == ["ok"]
    except sqlite3.DatabaseError:
        return False

"""Tells the database's passing troubles from faults of ours: a full disk, a failing one, a server that is away."""

from __future__ import annotations

import errno
import sqlite3

from sqlalchemy import ExceptionContext
from sqlalchemy.exc import OperationalError
from sqlalchemy.pool import ConnectionPoolEntry

from notify.core.errors import Unavailable

_AGAIN = "It was not done. Try again in a minute."
_LOOK = "It was not done. Try again in a minute; if it stays, look at the disk, then at the newest backup."
# SQLite's primary result codes (sqlite.org/rescode.html) that speak of the machine, not of our statements.
_SQLITE: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_BUSY: ("The database is busy", _AGAIN),
    sqlite3.SQLITE_LOCKED: ("The database is busy", _AGAIN),
    sqlite3.SQLITE_NOMEM: ("There is too little memory for the database", _AGAIN),
    sqlite3.SQLITE_READONLY: ("The database cannot be written to", _LOOK),
    sqlite3.SQLITE_IOERR: ("The disk with the database does not answer as it should", _LOOK),
    # Also what a failing read can look like from inside (seen with injected faults on a sound file).
    sqlite3.SQLITE_CORRUPT: ("The database cannot be read as it should", _LOOK),
    sqlite3.SQLITE_FULL: ("The disk with the database is full", "It was not done. Free some room, then try again."),
    sqlite3.SQLITE_CANTOPEN: ("The database cannot be opened", _LOOK),
    sqlite3.SQLITE_PROTOCOL: ("The database is busy", _AGAIN),
}
# READONLY: when a file cannot be opened for writing in that moment, SQLite opens it for reading, and stays so for good.
_SHAKEN = frozenset({
    sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_FULL, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_READONLY,
})  # fmt: skip
DISTRUSTED = "distrusted"
_AWAY = ("The database does not answer", _AGAIN)
_DISK = {
    errno.ENOSPC: ("The disk is full", "Free some room, then try again."),
    errno.EDQUOT: ("The disk space allotted to Shelfbell is used up", "Free some room, then try again."),
    errno.EFBIG: ("A file may not grow any further here", "Raise the limit, then try again."),
    errno.EIO: ("The disk does not answer as it should", "Try again; if it stays, look at the disk."),
    errno.EROFS: ("The disk cannot be written to", "Make it writable, then try again."),
}


def say_trouble(context: ExceptionContext) -> Unavailable | None:
    """For SQLAlchemy's `handle_error`: what goes on instead of the driver's own error, if that tells of trouble."""
    if context.is_pre_ping:  # the pool itself deals with a line that died while it rested
        return None
    if context.connection is not None and _code(context.original_exception) in _SHAKEN:
        context.connection.info[DISTRUSTED] = True
    return _of_database(context.original_exception, context.sqlalchemy_exception)


def let_go(_connection: object, record: ConnectionPoolEntry) -> None:
    """For the pool's `checkin`: what a connection remembers after such trouble may be wrong, so it is not used again.

    Only here, after its rollback: closed in the middle, SQLite's handle keeps the writer's lock while a cursor lives.
    """
    if record.info.pop(DISTRUSTED, False):
        record.invalidate()


def trouble_of(error: BaseException) -> Unavailable | None:
    """The same for an error of the file system; None for what is no trouble of the machine."""
    if isinstance(error, Unavailable):
        return error
    said = _DISK.get(error.errno or 0) if isinstance(error, OSError) else None
    return Unavailable(*said) if said else None


def _code(error: BaseException) -> int:
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def _of_database(original: BaseException, wrapped: BaseException | None) -> Unavailable | None:
    if isinstance(original, sqlite3.Error):
        said = _SQLITE.get(_code(original))
        return Unavailable(*said) if said else None
    return Unavailable(*_AWAY) if isinstance(wrapped, OperationalError) else None

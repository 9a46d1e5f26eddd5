"""Writes that may wait: said together, many rows at a time, before anything else is said in their transaction.

A flow that does one thing to many rows asks for it (Unit.grouped). What waits is said before the next statement of
whatever kind, and before the commit; so everything that is read sees it, and nothing can tell that it waited. A
savepoint is said only once something is said inside it: undoing one before that only drops what waits.

Only what hangs on no other waiting write may wait: of one table all is said in its order, but a table's all at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Engine, event

from notify.core.errors import Unavailable

_KEY = "shelfbell.later"
MOST = 500  # that wait at once


@dataclass(frozen=True, slots=True)
class Write:
    """One statement of a table with its values as the driver takes them; each touches exactly one row."""

    table: str
    sql: str
    values: Any


@dataclass(slots=True)
class _Point:
    """A savepoint: how many writes waited when it began, and whether it was said."""

    mark: int
    said: bool = False


@dataclass(slots=True)
class Later:
    """What waits in a transaction."""

    connection: Connection
    waiting: list[Write] = field(default_factory=list)
    points: list[_Point] = field(default_factory=list)
    saying: bool = False

    def add(self, write: Write) -> None:
        """Lets a write wait."""
        self.waiting.append(write)
        if len(self.waiting) >= MOST:
            self.say_all()

    def say_all(self) -> None:
        """Says what waits, and the savepoints in which it stands. Raises Unavailable when a row is not as it was."""
        self.saying = True
        try:
            self._say_in_order()
        finally:
            self.saying = False

    def _say_in_order(self) -> None:
        waiting, self.waiting, at = self.waiting, [], 0
        for point in self.points:
            if not point.said:
                self._say(waiting[at : point.mark])
                self.connection.exec_driver_sql("SAVEPOINT part")
                at, point.said = point.mark, True
        self._say(waiting[at:])

    def _say(self, writes: list[Write]) -> None:
        for table in dict.fromkeys(write.table for write in writes):
            for sql, same in groupby((one for one in writes if one.table == table), key=lambda one: one.sql):
                self._say_alike(sql, [one.values for one in same])

    def _say_alike(self, sql: str, values: list[Any]) -> None:
        done = self.connection.exec_driver_sql(sql, values if len(values) > 1 else values[0]).rowcount
        if done != len(values):
            # Not a Conflict: that would be taken for one of the row that is just looked at.
            raise Unavailable("One of many rows is no longer as it was read", "All of them are tried again.")

    @contextmanager
    def part(self) -> Iterator[None]:
        """A savepoint: an exception inside undoes only what was written inside."""
        point = _Point(len(self.waiting))
        self.points.append(point)
        try:
            yield
        except BaseException:
            self.points.pop()
            self._undo(point)
            raise
        self.points.pop()
        if point.said:
            self._say_of_point("RELEASE SAVEPOINT part")

    def _undo(self, point: _Point) -> None:
        del self.waiting[0 if point.said else point.mark :]  # what waits since it was said, waits inside
        if point.said and not self.connection.invalidated:  # else the server is away, and all is undone
            self._say_of_point("ROLLBACK TO SAVEPOINT part", "RELEASE SAVEPOINT part")

    def _say_of_point(self, *statements: str) -> None:
        """Ends a savepoint that was said; what waits still is of what was taken, and waits on behind it."""
        self.saying = True
        try:
            for statement in statements:
                self.connection.exec_driver_sql(statement)
        finally:
            self.saying = False


def listen(engine: Engine) -> None:
    """From now on whatever waits on a connection of this engine is said before its next statement."""
    event.listen(engine, "before_cursor_execute", _before)


def of(connection: Connection) -> Later | None:
    """What waits on a connection; None where nothing may."""
    later: Later | None = connection.info.get(_KEY)
    return later


@contextmanager
def grouped(connection: Connection) -> Iterator[None]:
    """Inside, writes that may wait do; at the end they are said. After an exception they never were."""
    later = connection.info[_KEY] = Later(connection)
    try:
        yield
        later.say_all()
    finally:
        connection.info.pop(_KEY, None)


def _before(connection: Connection, *_: Any) -> None:
    later = connection.info.get(_KEY)
    if later is not None and not later.saying:
        later.say_all()

"""Statements that are said very often: compiled once for each kind of database, then handed to the driver as text.

SQLAlchemy looks a statement up anew each time it is executed, and wraps what it gives; for a short one that costs three
to five times what the database needs (measured). Here nothing is left of that but the text and each value's own type.
The engine's listeners hear them like all others, and errors of the driver are translated like all others.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Delete, Insert, Select, Update
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeEngine

from notify.store import later

Shape = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class _Text:
    """A statement as one driver takes it: for each place the value's name, its type's processor, and what stands."""

    sql: str
    places: tuple[tuple[str, Shape | None], ...]
    stands: Mapping[str, Any]  # values that the statement itself has
    positional: bool

    def filled(self, values: Mapping[str, Any]) -> Any:
        given = {**self.stands, **values} if self.stands else values
        if self.positional:
            return tuple([shape(given[name]) if shape else given[name] for name, shape in self.places])
        return {name: shape(given[name]) if shape else given[name] for name, shape in self.places}

    def filled_alike(self, rows: Sequence[Mapping[str, Any]], same: Mapping[str, Any]) -> list[Any]:
        """One for each row; what is the `same` in all of them takes its shape once."""
        given = {**self.stands, **same}
        stays = [
            None if name in rows[0] else shape(given[name]) if shape else given[name] for name, shape in self.places
        ]
        moves = [(at, name, shape) for at, (name, shape) in enumerate(self.places) if name in rows[0]]
        return [self._laid(stays, moves, row) for row in rows]

    def _laid(self, stays: list[Any], moves: list[tuple[int, str, Shape | None]], row: Mapping[str, Any]) -> Any:
        values = stays.copy()
        for at, name, shape in moves:
            values[at] = shape(row[name]) if shape else row[name]
        return tuple(values) if self.positional else dict(zip(self._names, values, strict=True))

    @property
    def _names(self) -> list[str]:
        return [name for name, _ in self.places]


@dataclass(slots=True)
class Prepared:
    """One statement whose parameters are all named and single; made once, at the top of a room of the store."""

    statement: Select[Any] | Insert | Update | Delete
    _texts: dict[tuple[str, ...], _Text] = field(default_factory=dict)
    _readers: dict[str, Callable[[Sequence[Any]], Any]] = field(default_factory=dict)

    def write(self, connection: Connection, values: Mapping[str, Any]) -> int:
        """Says a changing statement; how many rows it touched. The columns are those that `values` name."""
        key = (connection.dialect.name, *values)
        text = self._texts.get(key) or self._compiled(connection.dialect, key)
        return connection.exec_driver_sql(text.sql, text.filled(values)).rowcount

    def write_all(
        self, connection: Connection, rows: Sequence[Mapping[str, Any]], *, same: Mapping[str, Any] | None = None
    ) -> None:
        """Says a changing statement once for each of these, of which there is at least one; all name the same.

        `same` are values that all of them share, beside their own.
        """
        shared = same or {}
        key = (connection.dialect.name, *shared, *rows[0])
        text = self._texts.get(key) or self._compiled(connection.dialect, key)
        connection.exec_driver_sql(text.sql, text.filled_alike(rows, shared))

    def later(self, connection: Connection, values: Mapping[str, Any]) -> int:
        """Like write, of exactly one row; where writes may wait (later.py) it does, and counts as done."""
        waits = later.of(connection)
        if waits is None:
            return self.write(connection, values)
        key = (connection.dialect.name, *values)
        text = self._texts.get(key) or self._compiled(connection.dialect, key)
        waits.add(later.Write(self._table, text.sql, text.filled(values)))
        return 1

    def rows(self, connection: Connection, values: Mapping[str, Any]) -> list[Any]:
        """The rows of a query, with their columns by name or place."""
        key = (connection.dialect.name,)
        text = self._texts.get(key) or self._compiled(connection.dialect, key)
        found = connection.exec_driver_sql(text.sql, text.filled(values))
        read = self._readers.get(key[0]) or self._reader(connection.dialect, found.cursor.description)
        return [read(row) for row in found.all()]

    def firsts(self, connection: Connection, values: Mapping[str, Any]) -> list[Any]:
        """The first column of each row of a query, as the driver gives it: for identifiers and codes."""
        key = (connection.dialect.name,)
        text = self._texts.get(key) or self._compiled(connection.dialect, key)
        return [row[0] for row in connection.exec_driver_sql(text.sql, text.filled(values)).cursor.fetchall()]

    @property
    def _table(self) -> str:
        return str(self.statement.table)  # type: ignore[union-attr]  # a query has none, and never waits

    def _compiled(self, dialect: Dialect, key: tuple[str, ...]) -> _Text:
        made: Any = self.statement.compile(dialect=dialect, column_keys=key[1:])
        if made.post_compile_params or made.literal_execute_params or made.insert_prefetch or made.update_prefetch:
            raise TypeError(f"this statement is not the same each time: {made}")
        order = made.positiontup if made.positional else list(made.binds)
        places = tuple((name, _binder(made.binds[name].type, dialect)) for name in order)
        stands = {name: bind.effective_value for name, bind in made.binds.items() if not bind.required}
        text = self._texts[key] = _Text(str(made), places, stands, made.positional)
        return text

    def _reader(self, dialect: Dialect, described: Sequence[Any]) -> Callable[[Sequence[Any]], Any]:
        assert isinstance(self.statement, Select)
        columns = list(self.statement.selected_columns)
        shape = _row_type(tuple(column.key or "" for column in columns))
        ways = [
            (at, way)
            for at, (column, told) in enumerate(zip(columns, described, strict=True))
            if (way := column.type.dialect_impl(dialect).result_processor(dialect, told[1])) is not None
        ]

        def read(row: Sequence[Any]) -> Any:
            values = list(row)
            for at, way in ways:
                values[at] = way(values[at])
            return shape(values)

        self._readers[dialect.name] = read
        return read


def _binder(kind: TypeEngine[Any], dialect: Dialect) -> Shape | None:
    return kind.dialect_impl(dialect).bind_processor(dialect)


def _row_type(names: tuple[str, ...]) -> Callable[[Sequence[Any]], Any]:
    class Row(namedtuple("Row", names)):  # type: ignore[misc]  # the names are those of the columns
        """A row with the two ways to its columns that a row of SQLAlchemy has."""

        __slots__ = ()

        @property
        def _mapping(self) -> dict[str, Any]:
            return self._asdict()

    return Row._make

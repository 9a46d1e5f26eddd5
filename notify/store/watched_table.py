"""Reads a query of another system's database page by page; never writes there, and holds nothing open in between."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import (
    URL,
    ColumnClause,
    ColumnElement,
    Connection,
    Engine,
    Select,
    Subquery,
    bindparam,
    column,
    make_url,
    select,
    text,
)
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.types import NullType

from notify.core.rising import Bound
from notify.core.sources import SourceTrouble, Trouble
from notify.store.watched_engines import GRACE, Line, open_watched
from notify.store.watched_trouble import trouble, trouble_in_words

T = TypeVar("T")
_STREAMED = {"stream_results": True, "max_row_buffer": 100}  # so long cells are shaped before the next ones come
_TIMESTAMP = 7  # FIELD_TYPE.TIMESTAMP of the protocol: an instant, given in the zone of the session (UTC)


@dataclass(frozen=True, slots=True)
class Asked:
    """What is read: the query, its columns that are wanted, the one it is read along, and what else orders it."""

    query: str
    columns: tuple[str, ...]
    along: str
    then: tuple[str, ...] = ()


@dataclass(slots=True)
class WatchedTable:
    """One query of one database. Every call opens a line, reads at most `seconds` and closes it.

    A server has `grace` seconds more, in which its own limit may end a statement before its line is cut.
    """

    asked: Asked
    seconds: int
    grace: float
    _url: URL = field(repr=False)
    _line: Line = field(repr=False)
    _engine: Engine = field(repr=False)
    _names: dict[str, str] = field(default_factory=dict, repr=False)

    def rows(self, after: Bound | None, *, limit: int, skip: int, shape: Callable[[Sequence[Any]], T]) -> list[T]:
        """At most `limit` rows above the bound in the order of `along`, `skip` of them left out; each through `shape`.

        A row is the value of `along`, then the wanted columns. Rows without a value there are not among them.
        Raises SourceTrouble.
        """
        with self._reading() as connection:
            return self._shaped(connection, self.page(after, limit=limit, skip=skip), shape)

    def rows_without(self, *, limit: int, shape: Callable[[Sequence[Any]], T]) -> list[T]:
        """Rows that have no value in `along`, at most `limit`. Raises SourceTrouble."""
        with self._reading() as connection:
            without = self._column(self.asked.along).is_(None)
            return self._shaped(connection, self._select().where(without).limit(limit), shape)

    def page(self, after: Bound | None, *, limit: int, skip: int = 0) -> Select[Any]:
        """The statement of one page. The names of the query's columns must be known (`learn`)."""
        along = self._column(self.asked.along)
        where: ColumnElement[bool]
        if after is None:
            where = along.is_not(None)
        else:
            value = bindparam("after", after.value, type_=NullType())  # no cast: it would keep an index from being used
            where = along >= value if after.same_too else along > value
        order = [self._column(name) for name in self.asked.then if name != self.asked.along]
        return self._select().where(where).order_by(along, *order).limit(limit).offset(skip or None)

    def learn(self, connection: Connection) -> None:
        """Asks which columns the query gives; capitals count only where two differ by nothing else."""
        if self._names:
            return
        nothing = select(text("*")).select_from(self._query()).limit(0)
        given = list(connection.execute(nothing).keys())
        folded = {name.casefold(): name for name in reversed(given)}
        wanted = dict.fromkeys((self.asked.along, *self.asked.columns, *self.asked.then))
        found = {name: name if name in given else folded.get(name.casefold()) for name in wanted}
        if missing := [name for name, its in found.items() if its is None]:
            raise SourceTrouble(
                Trouble.WRONG_ANSWER, f"The query gives no column {missing[0][:60]!r}",
                f"It gives: {', '.join(given)[:300]}. Correct columns, changed or query in the settings.",
            )  # fmt: skip
        self._names = {name: its for name, its in found.items() if its is not None}

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        if self._engine.dialect.name == "sqlite":
            self._look_for_file()
        grace = 0 if self._engine.dialect.name == "sqlite" else self.grace
        timer = self._line.within(self.seconds + grace)
        try:
            with self._engine.connect() as connection:
                self.learn(connection)
                yield connection
                connection.rollback()
        except SQLAlchemyError as error:
            original = error.orig if isinstance(error, DBAPIError) and error.orig else error
            raise trouble_in_words(original, was_cut=self._line.was_cut) from None
        except (OSError, ValueError, OverflowError) as error:
            raise trouble_in_words(error, was_cut=self._line.was_cut) from None
        finally:
            timer.cancel()

    def _look_for_file(self) -> None:
        if not Path(self._url.database or "").is_file():
            raise trouble("no_file")

    def _query(self) -> Subquery:
        # A colon would begin a parameter; the line's end closes a comment at the end of the query.
        said = self.asked.query.strip().rstrip(";").replace(":", "\\:") + "\n"
        return text(said).columns(*(column(name) for name in self._names.values())).subquery("watched")

    def _select(self) -> Select[Any]:
        query = self._query()
        return select(*(query.c[self._name(name)] for name in (self.asked.along, *self.asked.columns)))

    def _column(self, name: str) -> ColumnClause[Any]:
        return column(self._name(name))

    def _name(self, name: str) -> str:
        return self._names[name]

    def _shaped(self, connection: Connection, statement: Select[Any], shape: Callable[[Sequence[Any]], T]) -> list[T]:
        result = connection.execute(statement, execution_options=_STREAMED)
        instants = self._instants(result)
        return [shape(_in_utc(row, instants) if instants else row) for row in result]

    def _instants(self, result: Any) -> frozenset[int]:
        if self._engine.dialect.name not in ("mysql", "mariadb"):
            return frozenset()
        return frozenset(at for at, one in enumerate(result.cursor.description) if one[1] == _TIMESTAMP)


def open_table(url: str, password: str, asked: Asked, *, seconds: int, grace: float = GRACE) -> WatchedTable:
    """The query of a database that is only read. Nothing is connected yet. Raises SourceTrouble."""
    where = make_url(url)
    where = where.set(password=password) if password else where
    line = Line()
    return WatchedTable(asked, seconds, grace, where, line, open_watched(where, line, seconds=seconds))


def _in_utc(row: Sequence[Any], instants: frozenset[int]) -> list[Any]:
    return [
        one.replace(tzinfo=UTC) if at in instants and isinstance(one, datetime) else one for at, one in enumerate(row)
    ]

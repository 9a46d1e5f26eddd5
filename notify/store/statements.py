"""Parts of statements that are built once: building one anew costs four times what running it does (measured)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, Select, Table, bindparam, literal_column, or_, select

from notify.store.database import Unit
from notify.store.listed import listed
from notify.store.prepared import Prepared

_prepared = cache(Prepared)


def where(table: Table, *names: str) -> tuple[ColumnElement[bool], ...]:
    """The rows of one shop with these columns equal to values that `given` hands over at run time."""
    return tuple(table.c[name] == bindparam(f"the_{name}") for name in ("shop_id", *names))


def among(table: Table, name: str) -> ColumnElement[bool]:
    """The rows whose column is among the values handed over as `any_<column>`, however many they are."""
    return listed(table.c[name], f"any_{name}")


def is_in(column: ColumnElement[str], state: str) -> ColumnElement[bool]:
    """The rows in this state (a word of the code's own), which stands in the statement itself.

    With a bound value SQLite uses no partial index, and one filled in at run time costs a new statement each time.
    """
    return column == literal_column(f"'{state}'")


def one_of(column: ColumnElement[str], words: Iterable[str]) -> ColumnElement[bool]:
    """The rows whose column is one of these words of the code's own, written out as in `is_in`."""
    return or_(*(is_in(column, word) for word in words))


def rows_among(unit: Unit, statement: Select[Any], name: str, values: Sequence[str]) -> Sequence[Any]:
    """The rows of a statement that asks with `among` for a column of that name; one of those made once, at the top."""
    return _prepared(statement).rows(unit.connection, {**given(unit), f"any_{name}": values})


def ids_beginning(unit: Unit, table: Table, beginning: str) -> tuple[str, ...]:
    """The identifiers of a table that begin so, at most three: one is meant, more need more letters."""
    like = table.c.id.startswith(beginning, autoescape=True)
    query = select(table.c.id).where(table.c.shop_id == unit.shop_id, like).limit(3)
    return tuple(unit.connection.execute(query).scalars())


def given(unit: Unit, **values: Any) -> dict[str, Any]:
    """The values for `where`: the unit's own shop, and one for each named column."""
    return {"the_shop_id": unit.shop_id} | {f"the_{name}": value for name, value in values.items()}

"""Parts of statements that are built once: building one anew costs four times what running it does (measured)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from sqlalchemy import (
    BinaryExpression,
    BindParameter,
    ColumnElement,
    Select,
    Table,
    bindparam,
    literal_column,
    or_,
    select,
)
from sqlalchemy.sql.operators import in_op
from sqlalchemy.sql.visitors import replacement_traverse

from notify.store.database import Unit
from notify.store.prepared import Prepared


def where(table: Table, *names: str) -> tuple[ColumnElement[bool], ...]:
    """The rows of one shop with these columns equal to values that `given` hands over at run time."""
    return tuple(table.c[name] == bindparam(f"the_{name}") for name in ("shop_id", *names))


def among(table: Table, name: str) -> ColumnElement[bool]:
    """The rows whose column is among the values handed over as `any_<column>`."""
    return table.c[name].in_(bindparam(f"any_{name}", expanding=True))


def is_in(column: ColumnElement[str], state: str) -> ColumnElement[bool]:
    """The rows in this state (a word of the code's own), which stands in the statement itself.

    With a bound value SQLite uses no partial index, and one filled in at run time costs a new statement each time.
    """
    return column == literal_column(f"'{state}'")


def one_of(column: ColumnElement[str], words: Iterable[str]) -> ColumnElement[bool]:
    """The rows whose column is one of these words of the code's own, written out as in `is_in`."""
    return or_(*(is_in(column, word) for word in words))


def rows_among(unit: Unit, statement: Select[Any], name: str, values: Sequence[str]) -> Sequence[Any]:
    """The rows of a statement that asks with `among` for a column of that name.

    One value alone is asked for by equality: a list is written into the statement anew each time, for twice the price
    of a short statement (50 microseconds, measured).
    """
    if len(values) == 1:
        return _for_one(statement, name).rows(unit.connection, {**given(unit), f"any_{name}": values[0]})
    return unit.connection.execute(statement, {**given(unit), f"any_{name}": values}).all()


def ids_beginning(unit: Unit, table: Table, beginning: str) -> tuple[str, ...]:
    """The identifiers of a table that begin so, at most three: one is meant, more need more letters."""
    like = table.c.id.startswith(beginning, autoescape=True)
    query = select(table.c.id).where(table.c.shop_id == unit.shop_id, like).limit(3)
    return tuple(unit.connection.execute(query).scalars())


@cache
def _for_one(statement: Select[Any], name: str) -> Prepared:
    """The same statement with `=` where it has `in`; statements are made once, so this is as well."""

    def equal(element: Any, **_: Any) -> Any:
        is_list = isinstance(element, BinaryExpression) and isinstance(element.right, BindParameter)
        if is_list and element.operator is in_op and element.right.key == f"any_{name}":
            return element.left == bindparam(f"any_{name}")
        return None

    return Prepared(replacement_traverse(statement, {}, equal))  # type: ignore[arg-type]  # the kind it was given


def given(unit: Unit, **values: Any) -> dict[str, Any]:
    """The values for `where`: the unit's own shop, and one for each named column."""
    return {"the_shop_id": unit.shop_id} | {f"the_{name}": value for name, value in values.items()}

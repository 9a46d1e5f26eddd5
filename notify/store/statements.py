"""Parts of statements that are built once: building one anew costs four times what running it does (measured)."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Table, bindparam, literal_column

from notify.store.database import Unit


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


def given(unit: Unit, **values: Any) -> dict[str, Any]:
    """The values for `where`: the unit's own shop, and one for each named column."""
    return {"the_shop_id": unit.shop_id} | {f"the_{name}": value for name, value in values.items()}

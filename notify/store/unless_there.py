"""An INSERT that leaves alone what is there already: each kind of database has words of its own for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeAlias

from sqlalchemy import Table
from sqlalchemy.dialects import postgresql, sqlite

Once: TypeAlias = sqlite.Insert | postgresql.Insert


def unless_there(table: Table, *key: str, **fixed: Any) -> Mapping[str, Once]:
    """Name of the dialect -> the statement; a row whose columns `key` stand in another one is left out.

    `fixed` are the values that the statement itself has.
    """
    kinds: dict[str, Once] = {"sqlite": sqlite.insert(table), "postgresql": postgresql.insert(table)}
    return {
        kind: (one.values(**fixed) if fixed else one).on_conflict_do_nothing(index_elements=key)
        for kind, one in kinds.items()
    }

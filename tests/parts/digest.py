"""What stands in every table, as one value per table: to prove that looking changes nothing."""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import select

from notify.store.database import Database
from notify.store.schema import metadata

# Only these may change when somebody looks (sign-in sessions and throttle counters).
MAY_CHANGE = frozenset({"sessions", "throttles"})


def digest(db: Database) -> dict[str, str]:
    """Table -> hash of all its rows."""
    found: dict[str, str] = {}
    with db.engine.connect() as connection:
        for table in metadata.sorted_tables:
            rows: list[Any] = sorted(repr(tuple(row)) for row in connection.execute(select(table)))
            found[table.name] = hashlib.sha256("\n".join(rows).encode()).hexdigest()
    return found


def changed(before: dict[str, str], after: dict[str, str]) -> set[str]:
    """The tables that differ and may not."""
    return {name for name in before if before[name] != after[name]} - MAY_CHANGE

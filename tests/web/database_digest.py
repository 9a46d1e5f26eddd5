"""A digest of every table of the main database, to see which ones a request changed."""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import select

from notify.store.schema import metadata


def digest(house: Any) -> dict[str, str]:
    """table -> hash of all its rows, whatever their order."""
    with house.ctx.db.engine.connect() as connection:
        return {
            table.name: hashlib.sha256(
                "\n".join(sorted(repr(tuple(row)) for row in connection.execute(select(table)))).encode()
            ).hexdigest()
            for table in metadata.sorted_tables
        }


def changed_tables(before: dict[str, str], after: dict[str, str]) -> set[str]:
    """Names of the tables whose rows differ."""
    return {name for name in before if before[name] != after[name]}

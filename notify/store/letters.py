"""Which letters and gateway calls were taken already: each acts once, by a hash that names nobody."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime

from sqlalchemy import Executable, delete
from sqlalchemy.dialects import postgresql, sqlite

from notify.store import schema as s
from notify.store.database import Unit

_T = s.taken_letters
_KEY = ["source", "key"]
# RETURNING says whether a row was written: PostgreSQL's driver counts none for an INSERT (-1, measured).
_ADD: Mapping[str, Executable] = {
    "sqlite": sqlite.insert(_T).on_conflict_do_nothing(index_elements=_KEY).returning(_T.c.key),
    "postgresql": postgresql.insert(_T).on_conflict_do_nothing(index_elements=_KEY).returning(_T.c.key),
}


def take(unit: Unit, source: str, key: str, *, kind: str, at: datetime) -> bool:
    """Notes that a letter is being acted on, in the transaction that acts; False when one did so before."""
    values = {"source": source, "key": key, "kind": kind, "at": at}
    return unit.connection.execute(_ADD[unit.connection.dialect.name], values).first() is not None


def forget_taken(unit: Unit, *, before: datetime, kinds: Collection[str]) -> int:
    """Drops the notes of these kinds from before that instant, when no copy can come any more; how many."""
    return unit.connection.execute(delete(_T).where(_T.c.at < before, _T.c.kind.in_(kinds))).rowcount

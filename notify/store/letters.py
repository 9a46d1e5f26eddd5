"""Which letters and gateway calls were taken already: each acts once, by a hash that names nobody."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable
from datetime import datetime

from sqlalchemy import delete, exists, literal_column, select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.listed import listed
from notify.store.prepared import Prepared
from notify.store.statements import is_in
from notify.store.unless_there import unless_there

_T = s.taken_letters
_ONCE = unless_there(_T, "source", "key")
TO_DROP = "to_drop"  # the source and kind of notes of what has to leave the mailbox
_TAKEN = Prepared(select(literal_column("1").label("one")).where(exists().where(is_in(_T.c.source, "mail"))))
_NOTE = {kind: Prepared(once) for kind, once in _ONCE.items()}
# RETURNING says whether a row was written: PostgreSQL's driver counts none for an INSERT (-1, measured).
_ADD = {kind: once.returning(_T.c.key) for kind, once in _ONCE.items()}


def take(unit: Unit, source: str, key: str, *, kind: str, at: datetime) -> bool:
    """Notes that a letter is being acted on, in the transaction that acts; False when one did so before."""
    values = {"source": source, "key": key, "kind": kind, "at": at}
    return unit.connection.execute(_ADD[unit.connection.dialect.name], values).first() is not None


def forget_taken(unit: Unit, *, before: datetime, kinds: Collection[str]) -> int:
    """Drops the notes of these kinds from before that instant, when no copy can come any more; how many."""
    return unit.connection.execute(delete(_T).where(_T.c.at < before, _T.c.kind.in_(kinds))).rowcount


def name_of(message_id: str) -> str:
    """What a Message-ID (with its angle brackets) is noted as."""
    return hashlib.sha256(message_id.encode("utf-8", "surrogatepass")).hexdigest()


def note_to_drop(unit: Unit, message_ids: Iterable[str], *, at: datetime) -> None:
    """Notes that every letter with, about or in answer to one of these must leave the mailbox that is read.

    Nothing where no letter was ever taken from one.
    """
    whole = dict.fromkeys(message_ids)
    if whole and _TAKEN.firsts(unit.connection, {}):
        rows = [{"key": name_of(one)} for one in whole]
        same = {"source": TO_DROP, "kind": TO_DROP, "at": at}
        _NOTE[unit.connection.dialect.name].write_all(unit.connection, rows, same=same)


def to_drop(unit: Unit) -> frozenset[str]:
    """The names (`name_of`) of what has to leave the mailbox."""
    return frozenset(unit.connection.execute(select(_T.c.key).where(_T.c.source == TO_DROP)).scalars())


def dropped(unit: Unit, names: Iterable[str]) -> None:
    """They are out of the mailbox: the notes go."""
    gone = delete(_T).where(_T.c.source == TO_DROP, listed(_T.c.key, "names"))
    unit.connection.execute(gone, {"names": list(names)})

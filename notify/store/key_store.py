"""The tables of the key store, apart from the main database: wrapped keys, which keys are known, who was erased.

A person's key and the line that says they were erased change in one transaction, so that no copy of this
store ever lacks a key without saying why.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import (
    Column,
    Connection,
    LargeBinary,
    MetaData,
    String,
    Table,
    bindparam,
    delete,
    insert,
    inspect,
    select,
    update,
)

from notify.core.chunks import chunks
from notify.core.errors import Misconfigured
from notify.store.key_rings import FIELDS, Key, Kind, Ring, check_value
from notify.store.prepared import Prepared
from notify.store.types import Instant
from notify.store.unless_there import unless_there

key_metadata = MetaData()
data_keys = Table(
    "data_keys",
    key_metadata,
    Column("person_id", String(36), primary_key=True),
    Column("master_id", String(40), nullable=False),
    Column("wrapped", LargeBinary, nullable=False),
)
# `master` and `index` name the current keys; `master:<id>` and `index:<id>` hold a check value of each known one.
key_facts = Table(
    "key_facts",
    key_metadata,
    Column("name", String(60), primary_key=True),
    Column("value", String(60), nullable=False),
    Column("since", Instant),
)
# The erasure list: whose key was destroyed, and when. Identifiers only.
erased = Table(
    "erased",
    key_metadata,
    Column("person_id", String(36), primary_key=True),
    Column("at", Instant, nullable=False),
)
_FACT = select(key_facts.c.value).where(key_facts.c.name == bindparam("fact"))
_FACT_HELD = _FACT.with_for_update(read=True)  # on PostgreSQL: a change of it waits for whoever reads it to write
_LIST = {kind: Prepared(once) for kind, once in unless_there(erased, "person_id").items()}


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing known of the keys: a value, and since when it holds."""

    value: str
    since: datetime | None


def current_id(connection: Connection, kind: Kind, *, held: bool = False) -> str | None:
    """The name of the current key; `held` keeps it so until the end of this transaction."""
    value: str | None = connection.execute(_FACT_HELD if held else _FACT, {"fact": kind}).scalar()
    return value


def facts(connection: Connection) -> Mapping[str, Fact]:
    """Everything known of the keys; empty in a store without tables."""
    if not inspect(connection).has_table(key_facts.name):
        return {}
    return {row.name: Fact(row.value, row.since) for row in connection.execute(select(key_facts))}


def known_ids(known: Mapping[str, Fact], kind: Kind) -> tuple[str, ...]:
    """The names of the keys of this kind that something may still need."""
    return tuple(name.partition(":")[2] for name in sorted(known) if name.startswith(f"{kind}:"))


def set_fact(connection: Connection, name: str, value: str, since: datetime | None) -> None:
    """Writes one thing known of the keys."""
    same = key_facts.c.name == name
    if connection.execute(update(key_facts).where(same).values(value=value, since=since)).rowcount == 0:
        connection.execute(insert(key_facts).values(name=name, value=value, since=since))


def drop_fact(connection: Connection, name: str) -> None:
    """Something is not known any more, because nothing needs it."""
    connection.execute(delete(key_facts).where(key_facts.c.name == name))


def list_erased(connection: Connection, person_ids: Iterable[str], at: datetime) -> None:
    """Puts these people on the erasure list; those that stand there already keep their time."""
    for some in chunks(dict.fromkeys(person_ids)):
        _LIST[connection.dialect.name].write_all(connection, [{"person_id": one} for one in some], same={"at": at})


def check_ring(kind: Kind, ring: Ring, known: Mapping[str, Fact]) -> None:
    """Raises Misconfigured unless the file holds every key of this kind that the store knows, with the right bytes."""
    for key_id in known_ids(known, kind):
        key = next((one for one in ring if one.id == key_id), None)
        wanted = known[f"{kind}:{key_id}"].value
        if key is None:
            raise _wrong(kind, f"The key store was made with {kind} key {key_id!r}, not {_named(ring)}")
        if check_value(kind, key) != wanted:
            text = f"The {kind} key file holds another key {key_id!r} than the one that opens the key store"
            raise _wrong(kind, text)


def check_apart(master: Ring, index: Ring) -> None:
    """Raises Misconfigured when one key stands in both files: each opens something else, and neither the other's."""
    if {key.secret for key in master} & {key.secret for key in index}:
        raise Misconfigured(
            "The master key file and the index key file hold the same key",
            "Put the right key files back; nothing was changed.",
            field=FIELDS["index"],
        )


def missing_facts(kind: Kind, ring: Ring, known: Mapping[str, Fact]) -> Mapping[str, str]:
    """What a store that does not know a current key of this kind is told: the first line of the file is current."""
    if kind in known:
        return {}
    return {kind: ring[0].id} | {f"{kind}:{key.id}": check_value(kind, key) for key in ring}


def _named(ring: Sequence[Key]) -> str:
    return ", ".join(repr(key.id) for key in ring)


def _wrong(kind: Kind, text: str) -> Misconfigured:
    return Misconfigured(text, "Put the right key file back; nothing was changed.", field=FIELDS[kind])

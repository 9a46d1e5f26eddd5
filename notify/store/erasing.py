"""Overwrites what is held about people, and keeps the record without the data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, Table, insert, select, update

from notify.core.errors import Unavailable
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.doubts import settle_of_forgotten
from notify.store.engine import rewrite_tables
from notify.store.stamps import people_changed
from notify.store.vault import VEILED_CLAIM

# Every sealed column that holds something about a person, and the column that names the person.
SEALED: tuple[tuple[Table, str, tuple[str, ...]], ...] = (
    (s.people, "id", ("name_sealed",)),
    (s.contacts, "person_id", ("address_sealed", "lookup")),
    (
        s.tickets,
        "person_id",
        # The token's hash is not emptied but keyed (_veil_links), so that an old link can say that it is over.
        ("device_sealed", "fault_sealed", "condition_sealed", "accessories_sealed", "token_sealed"),
    ),
    (s.notes, "person_id", ("text_sealed",)),
    (s.questions, "person_id", ("wording_sealed", "said_by_sealed")),
    (s.parts, "person_id", ("name_sealed",)),
    (s.messages, "sealed_for", ("bytes_sealed", "sentence_sealed")),
    (s.contact_codes, "person_id", ("code_sealed",)),
    (s.passes, "person_id", ("hash",)),
    (s.replies, "sealed_for", ("sender_sealed", "subject_sealed", "text_sealed", "letter_id_sealed")),
    (s.doubts, "sealed_for", ("cells_sealed",)),
)


def overwrite(unit: Unit, person_ids: Iterable[str], *, at: datetime) -> Mapping[str, int]:
    """Empties every sealed column and blind index of these people; rows touched per table."""
    counts: Counter[str] = Counter()
    whole = list(person_ids)
    people_changed(unit, whole)
    for ids in _chunks(whole):
        for table, owner, columns in SEALED:
            counts[table.name] += _change(unit, table, table.c[owner].in_(ids), dict.fromkeys(columns))
        # Sealed for the visit's bringer, it bears their name and address; a gateway's name for it may be their number.
        sent_to = s.messages.c.person_id.in_(ids)
        emptied = {"bytes_sealed": None, "sentence_sealed": None, "provider_id": None}
        counts["messages"] += _change(unit, s.messages, sent_to, emptied)
        # What stands in clear and may hint at somebody: the shelf label, the words of a far mail server.
        _change(unit, s.tickets, s.tickets.c.person_id.in_(ids), {"shelf": ""})
        counts["receipts"] += _change(unit, s.receipts, s.receipts.c.message_id.in_(_messages_of(ids)), {"text": ""})
        settle_of_forgotten(unit, ids, at=at)
        _veil_links(unit, ids)
        _change(unit, s.people, s.people.c.id.in_(ids), {"forgotten_at": at})
    return dict(counts)


def _veil_links(unit: Unit, ids: list[str]) -> None:
    """Leaves only a keyed hash of each claim link: who finds an old mail cannot look the ticket up in a stolen file."""
    t, p = s.tickets, s.people
    fresh = select(p.c.id).where(p.c.shop_id == unit.shop_id, p.c.id.in_(ids), p.c.forgotten_at.is_(None))
    rows = unit.connection.execute(
        select(t.c.id, t.c.token_hash).where(t.c.shop_id == unit.shop_id, t.c.person_id.in_(fresh))
    ).all()
    for ticket_id, plain in rows:
        if plain is not None:
            _change(unit, t, t.c.id == ticket_id, {"token_hash": unit.opener.lookup(VEILED_CLAIM, plain)})


def _change(unit: Unit, table: Table, which: ColumnElement[bool], values: Mapping[str, Any]) -> int:
    changed = update(table).where(table.c.shop_id == unit.shop_id, which).values(dict(values))
    return unit.connection.execute(changed).rowcount


def _messages_of(ids: list[str]) -> Select[tuple[str]]:
    t = s.messages
    return select(t.c.id).where(t.c.sealed_for.in_(ids) | t.c.person_id.in_(ids))


def _chunks(ids: Iterable[str], size: int = 500) -> Iterator[list[str]]:
    """SQLite and PostgreSQL both limit how many values one statement may bear."""
    whole = list(ids)
    return (whole[at : at + size] for at in range(0, len(whole), size))


def visits_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """The visits that these people have a part in."""
    t = s.visit_people
    found: dict[str, None] = {}
    for ids in _chunks(person_ids):
        query = select(t.c.visit_id).where(t.c.shop_id == unit.shop_id, t.c.person_id.in_(ids)).distinct()
        found.update(dict.fromkeys(unit.connection.execute(query).scalars()))
    return tuple(found)


def delegates_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """Those named in passes by these people: whoever named them is gone, and so is the reason to keep them."""
    t, p = s.passes, s.people
    found: list[str] = []
    for ids in _chunks(person_ids):
        query = (
            select(t.c.person_id)
            .join(p, (p.c.shop_id == t.c.shop_id) & (p.c.id == t.c.person_id))
            .where(t.c.shop_id == unit.shop_id, t.c.given_by.in_(ids), p.c.forgotten_at.is_(None))
        )
        found.extend(unit.connection.execute(query).scalars())
    return tuple(found)


def messages_naming(unit: Unit, delegates: Iterable[str]) -> tuple[str, ...]:
    """The messages that told a customer by name who had collected with a pass."""
    t, m = s.passes, s.messages
    found: list[str] = []
    for ids in _chunks(delegates):
        query = (
            select(m.c.id, m.c.refs)
            .join(t, (t.c.shop_id == m.c.shop_id) & (t.c.visit_id == m.c.visit_id))
            .where(m.c.shop_id == unit.shop_id, t.c.person_id.in_(ids), m.c.notice == "handed_back")
        )
        found.extend(row.id for row in unit.connection.execute(query) if row.refs.get("collector") in ids)
    return tuple(dict.fromkeys(found))


def empty_messages(unit: Unit, message_ids: Iterable[str]) -> int:
    """Empties the bytes of these messages; how many there were."""
    emptied = {"bytes_sealed": None, "sentence_sealed": None}
    return sum(_change(unit, s.messages, s.messages.c.id.in_(ids), emptied) for ids in _chunks(message_ids))


def kept_copies(unit: Unit, message_ids: Iterable[str]) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of these messages, to find kept copies by."""
    t = s.messages
    found: list[str] = []
    for ids in _chunks(message_ids):
        query = select(t.c.message_id).where(t.c.shop_id == unit.shop_id, t.c.id.in_(ids), t.c.message_id.is_not(None))
        found.extend(one for one in unit.connection.execute(query).scalars() if one)
    return tuple(found)


def unconfirmed(unit: Unit) -> tuple[str, ...]:
    """The erasures that wait for their proof."""
    t = s.erasures
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.confirmed_at.is_(None))
    return tuple(unit.connection.execute(query).scalars())


def add_erasure(unit: Unit, *, at: datetime, reason: str, counts: Mapping[str, int]) -> str:
    """Keeps the record of one act of erasing: when, why, how many rows; nothing about whom."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.erasures).values(shop_id=unit.shop_id, id=new, at=at, reason=reason, counts=dict(counts))
    )
    return new


def confirm_erasures(unit: Unit, ids: Iterable[str], *, at: datetime) -> None:
    """Marks these erasures as proved: they were made before the rewriting, and nothing of them is left."""
    t = s.erasures
    for chunk in _chunks(ids):
        _change(unit, t, t.c.id.in_(chunk) & t.c.confirmed_at.is_(None), {"confirmed_at": at})


def list_erasures(unit: Unit) -> tuple[Any, ...]:
    """Every erasure record, newest first (id, at, reason, counts, confirmed_at)."""
    t = s.erasures
    return tuple(unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id).order_by(t.c.at.desc())))


def message_ids_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of every message that was composed for these people, to find kept copies by."""
    t = s.messages
    found: list[str] = []
    for ids in _chunks(person_ids):
        query = select(t.c.message_id).where(
            t.c.shop_id == unit.shop_id, t.c.id.in_(_messages_of(ids)), t.c.message_id.is_not(None)
        )
        found.extend(one for one in unit.connection.execute(query).scalars() if one)
    return tuple(found)


def rewrite(db: Database) -> bool:
    """Leaves no overwritten byte readable: rewrites the tables, empties the journal. False when not yet proved.

    SQLite: VACUUM, then wal_checkpoint(TRUNCATE), whose answer must be "not busy". PostgreSQL: VACUUM FULL
    of the tables that held sealed columns; its write-ahead log and base backups have their own, short lives.
    """
    if db.is_sqlite:
        return _rewrite_sqlite(db)
    return rewrite_tables(db.engine, [*(table.name for table, _, _ in SEALED), s.receipts.name, s.staff.name])


def _rewrite_sqlite(db: Database) -> bool:
    try:
        with db.alone() as connection:
            connection.exec_driver_sql("VACUUM")
        return db.checkpoint(truncate=True)
    except Unavailable:  # somebody writes, or the disk is full: the next run does it
        return False

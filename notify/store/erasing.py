"""Finds whose time is over, overwrites what is held about them, and keeps the record without the data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Table, case, func, insert, select, text, update

from notify.core.tickets import OPEN_PHASES, Phase
from notify.store import schema as s
from notify.store.database import Database, Unit


@dataclass(frozen=True, slots=True)
class Candidate:
    """A person none of whose tickets is open: when the last one was closed, and why they are kept if they are."""

    person_id: str
    last_closed_at: datetime
    kept_because: str


def candidates(unit: Unit) -> tuple[Candidate, ...]:
    """Every person not yet forgotten with no open ticket in any visit they have a part in."""
    t, v, p = s.tickets, s.visit_people, s.people
    closed = [phase for phase in Phase if phase not in OPEN_PHASES]
    open_ones = func.sum(case((t.c.phase.in_(closed), 0), else_=1))
    unpaid = func.sum(case(((t.c.paid.is_(False)) & (t.c.price_agreed > 0) & (t.c.outcome == "repaired"), 1), else_=0))
    left = func.sum(case((t.c.phase == Phase.LEFT_BEHIND, 1), else_=0))
    rows = unit.connection.execute(
        select(p.c.id, func.max(t.c.phase_since).label("last"), unpaid.label("unpaid"), left.label("left"))
        .join(v, (v.c.shop_id == p.c.shop_id) & (v.c.person_id == p.c.id))
        .join(t, (t.c.shop_id == v.c.shop_id) & (t.c.visit_id == v.c.visit_id))
        .where(p.c.shop_id == unit.shop_id, p.c.forgotten_at.is_(None))
        .group_by(p.c.id)
        .having(open_ones == 0)
    )
    return tuple(Candidate(row.id, row.last, _kept(row)) for row in rows)


def _kept(row: Any) -> str:
    if row.left:
        return "uncollected"
    return "unpaid" if row.unpaid else ""


# Every sealed column that holds something about a person, and the column that names the person.
SEALED: tuple[tuple[Table, str, tuple[str, ...]], ...] = (
    (s.people, "id", ("name_sealed",)),
    (s.contacts, "person_id", ("address_sealed", "lookup")),
    (
        s.tickets,
        "person_id",
        ("device_sealed", "fault_sealed", "condition_sealed", "accessories_sealed", "token_sealed", "token_hash"),
    ),
    (s.notes, "person_id", ("text_sealed",)),
    (s.questions, "person_id", ("wording_sealed", "said_by_sealed")),
    (s.parts, "person_id", ("name_sealed",)),
    (s.messages, "sealed_for", ("bytes_sealed", "sentence_sealed")),
)


def overwrite(unit: Unit, person_ids: Iterable[str], *, at: datetime) -> Mapping[str, int]:
    """Empties every sealed column and blind index of these people; rows touched per table."""
    ids = list(person_ids)
    counts = {}
    for table, owner, columns in SEALED:
        done = unit.connection.execute(
            update(table).where(table.c.shop_id == unit.shop_id, table.c[owner].in_(ids)).values(dict.fromkeys(columns))
        )
        counts[table.name] = done.rowcount
    unit.connection.execute(
        update(s.people).where(s.people.c.shop_id == unit.shop_id, s.people.c.id.in_(ids)).values(forgotten_at=at)
    )
    return counts


def add_erasure(unit: Unit, *, at: datetime, reason: str, counts: Mapping[str, int]) -> str:
    """Keeps the record of one act of erasing: when, why, how many rows; nothing about whom."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.erasures).values(shop_id=unit.shop_id, id=new, at=at, reason=reason, counts=dict(counts))
    )
    return new


def confirm_erasures(unit: Unit, *, at: datetime) -> int:
    """Marks every unconfirmed erasure as proved: nothing is left in the journal; how many."""
    t = s.erasures
    return unit.connection.execute(
        update(t).where(t.c.shop_id == unit.shop_id, t.c.confirmed_at.is_(None)).values(confirmed_at=at)
    ).rowcount


def list_erasures(unit: Unit) -> tuple[Any, ...]:
    """Every erasure record, newest first (id, at, reason, counts, confirmed_at)."""
    t = s.erasures
    return tuple(unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id).order_by(t.c.at.desc())))


def message_ids_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of every message that was composed for these people, to find kept copies by."""
    t = s.messages
    rows = unit.connection.execute(
        select(t.c.message_id).where(
            t.c.shop_id == unit.shop_id, t.c.sealed_for.in_(list(person_ids)), t.c.message_id.is_not(None)
        )
    )
    return tuple(row[0] for row in rows if row[0])


def rewrite(db: Database) -> bool:
    """Leaves no overwritten byte readable: rewrites the tables, empties the journal. False when not yet proved.

    SQLite: VACUUM, then wal_checkpoint(TRUNCATE), whose answer must be "not busy". PostgreSQL: VACUUM FULL
    of the tables that held sealed columns; its write-ahead log and base backups have their own, short lives.
    """
    if db.is_sqlite:
        return _rewrite_sqlite(db)
    with db.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        for table, _, _ in SEALED:
            connection.execute(text(f"vacuum full {table.name}"))
    return True


def _rewrite_sqlite(db: Database) -> bool:
    with db.alone() as connection:
        connection.exec_driver_sql("VACUUM")
    return db.checkpoint(truncate=True)

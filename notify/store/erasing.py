"""Overwrites what is held about people and keeps the record. Longer than other rooms: beside the list of what goes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Table, func, insert, or_, select, true, update

from notify.core.chunks import chunks
from notify.core.errors import Unavailable
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.doubts import settle_of_forgotten
from notify.store.engine import rewrite_tables
from notify.store.prepared import Prepared
from notify.store.stamps import people_changed
from notify.store.statements import given, where
from notify.store.vault import VEILED_CLAIM

# So many people in one transaction. Measured by tests/bench/forget.py, 3,000 people on two cores: the lock is held
# 41 ms of processor time (64 at most) at 250, 17 (37) at 50, 25 (38) at 100, 68 (117) at 500; the whole costs 1.1 s at
# 250, 2.4 s at 50. Beside a disk or cores that are busy with other things it is longer by the clock.
BATCH = 250
# A database of so many octets is rewritten within about a second, in which nobody can write: VACUUM of 98 MB took 0.5 s
# with a writer waiting 0.65 s at most, 1 GB 9.6 s; readers went on (measured on two cores, SQLite 3.40.1).
SOON = 100_000_000

# Every sealed column that holds something about a person, and the column that names the person.
SEALED: tuple[tuple[Table, str, tuple[str, ...]], ...] = (
    (s.people, "id", ("name_sealed",)),
    (s.contacts, "person_id", ("address_sealed", "lookup")),
    (s.consents, "person_id", ("lookup",)),  # the words stay as proof, without a way to whose address it was
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
    (s.data_holds, "person_id", ("note_sealed",)),
    (s.requests, "person_id", ("note_sealed",)),
)


# Tables without an index on the person: their rows are found by the visits or tickets that the person has a part in.
_BY_VISIT = frozenset(table.name for table in (s.messages, s.contact_codes))
_BY_TICKET = frozenset(table.name for table in (s.notes, s.questions, s.parts, s.doubts))
# What stands in clear beside it and may hint at somebody: the shelf label.
_CLEAR: Mapping[str, Mapping[str, Any]] = {s.tickets.name: {"shelf": ""}}
_TICKETS = Prepared(update(s.tickets).where(*where(s.tickets, "id")))


@dataclass(frozen=True, slots=True)
class Traces:
    """Where these people left anything: their visits, and the tickets of those, whoever the tickets are of."""

    people: tuple[str, ...]
    visits: tuple[str, ...]
    tickets: tuple[str, ...]


def traces_of(unit: Unit, person_ids: Iterable[str]) -> Traces:
    """Finds them by index, once for all that is then said of them. At most some hundred people at a time."""
    people = tuple(dict.fromkeys(person_ids))
    visits = visits_of(unit, people)
    t, found = s.tickets, list[str]()
    for ids in chunks(visits, 5000):
        query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.visit_id.in_(ids))
        found.extend(unit.connection.execute(query).scalars())
    return Traces(people, visits, tuple(found))


def overwrite(unit: Unit, person_ids: Iterable[str], *, at: datetime) -> Mapping[str, int]:
    """Empties every sealed column and blind index of these people; rows touched per table.

    Whoever is forgotten already is left as they are, so that it may be said again.
    """
    counts: Counter[str] = Counter()
    whole = list(person_ids)
    people_changed(unit, whole)
    for ids in chunks(whole, BATCH):
        traces = traces_of(unit, _not_yet(unit, ids))
        if traces.people:
            counts.update(_empty(unit, traces, at=at))
    return dict(counts)


def _not_yet(unit: Unit, ids: Sequence[str]) -> list[str]:
    p = s.people
    query = select(p.c.id).where(p.c.shop_id == unit.shop_id, p.c.id.in_(ids), p.c.forgotten_at.is_(None))
    return list(unit.connection.execute(query).scalars())


def _empty(unit: Unit, traces: Traces, *, at: datetime) -> Mapping[str, int]:
    counts = {s.receipts.name: _empty_receipts(unit, traces)}  # while the messages say whose they are
    settle_of_forgotten(unit, traces.people, traces.tickets, at=at)
    for table, owner, columns in SEALED:
        values = dict.fromkeys(columns) | dict(_CLEAR.get(table.name, {}))
        if table is s.people:
            values["forgotten_at"] = at
        elif table is s.messages:  # a gateway's name for a message may be their number
            values["provider_id"] = None
        if table is s.tickets:
            counts[table.name] = _empty_tickets(unit, traces, values)
        else:
            counts[table.name] = _emptied(unit, table, owner, values, traces)
    return counts


def _emptied(unit: Unit, table: Table, owner: str, values: Mapping[str, Any], traces: Traces) -> int:
    theirs: ColumnElement[bool] = table.c[owner].in_(traces.people)
    if table is s.messages:  # sealed for the visit's bringer, it bears the name and address of whom it was sent to
        theirs |= table.c.person_id.in_(traces.people)
    return sum(_change(unit, table, near & theirs, values) for near in _near(table, traces))


def _near(table: Table, traces: Traces) -> Iterator[ColumnElement[bool]]:
    """What leads to the rows by an index, in pieces that one statement can bear."""
    if table.name in _BY_VISIT:
        return (table.c.visit_id.in_(ids) for ids in chunks(traces.visits, 5000))
    if table.name in _BY_TICKET:
        return (table.c.ticket_id.in_(ids) for ids in chunks(traces.tickets, 5000))
    if table is s.replies:
        near = [table.c.visit_id.in_(ids) for ids in chunks(traces.visits, 5000)]
        return iter([*near, table.c.person_id.in_(traces.people)])
    return iter([true()])


def _empty_tickets(unit: Unit, traces: Traces, values: Mapping[str, Any]) -> int:
    """Leaves only a keyed hash of each claim link: who finds an old mail cannot look the ticket up in a stolen file."""
    t = s.tickets
    rows = unit.connection.execute(
        select(t.c.id, t.c.token_hash).where(t.c.shop_id == unit.shop_id, t.c.person_id.in_(traces.people))
    ).all()
    veiled = [
        given(unit, id=ticket_id)
        | dict(values)
        | {"token_hash": unit.opener.lookup(VEILED_CLAIM, plain) if plain is not None else None}
        for ticket_id, plain in rows
    ]
    if veiled:
        _TICKETS.write_all(unit.connection, veiled)
    return len(veiled)


def _empty_receipts(unit: Unit, traces: Traces) -> int:
    """The words of a far mail server, which may quote an address."""
    m, r = s.messages, s.receipts
    theirs = m.c.sealed_for.in_(traces.people) | m.c.person_id.in_(traces.people)
    done = 0
    for near in _near(m, traces):
        sent = select(m.c.id).where(m.c.shop_id == unit.shop_id, near, theirs)
        done += _change(unit, r, r.c.message_id.in_(sent) & (r.c.text != ""), {"text": ""})
    return done


def left_over(unit: Unit) -> dict[str, int]:
    """table -> rows of forgotten people in which anything still stands; nothing if all is well. Reads whole tables."""
    p, found = s.people, {}
    gone = select(p.c.id).where(p.c.shop_id == unit.shop_id, p.c.forgotten_at.is_not(None))
    for table, owner, columns in SEALED:
        names = [table.c[name] for name in columns]
        query = select(func.count()).where(
            table.c.shop_id == unit.shop_id, or_(*(c.is_not(None) for c in names)), table.c[owner].in_(gone)
        )
        if rows := unit.connection.execute(query).scalar_one():
            found[table.name] = rows
    return found


def _change(unit: Unit, table: Table, which: ColumnElement[bool], values: Mapping[str, Any]) -> int:
    changed = update(table).where(table.c.shop_id == unit.shop_id, which).values(dict(values))
    return unit.connection.execute(changed).rowcount


def visits_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """The visits that these people have a part in."""
    found: dict[str, None] = {}
    for ids in chunks(person_ids):
        for t in (s.visit_people, s.tickets):
            # Not "distinct": for that SQLite would walk through every ticket of the shop, in the order of the visits.
            query = select(t.c.visit_id).where(t.c.shop_id == unit.shop_id, t.c.person_id.in_(ids))
            found.update(dict.fromkeys(unit.connection.execute(query).scalars()))
    return tuple(found)


def delegates_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """Those named in passes by these people: whoever named them is gone, and so is the reason to keep them."""
    t, p = s.passes, s.people
    found: list[str] = []
    for ids in chunks(person_ids):
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
    for ids in chunks(delegates):
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
    return sum(_change(unit, s.messages, s.messages.c.id.in_(ids), emptied) for ids in chunks(message_ids))


def kept_copies(unit: Unit, message_ids: Iterable[str]) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of these messages, to find kept copies by."""
    t = s.messages
    found: list[str] = []
    for ids in chunks(message_ids):
        query = select(t.c.message_id).where(t.c.shop_id == unit.shop_id, t.c.id.in_(ids), t.c.message_id.is_not(None))
        found.extend(one for one in unit.connection.execute(query).scalars() if one)
    return tuple(found)


def unconfirmed(unit: Unit) -> tuple[str, ...]:
    """The erasures that wait for their proof."""
    t = s.erasures
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.confirmed_at.is_(None))
    return tuple(unit.connection.execute(query).scalars())


def add_erasure(unit: Unit, *, at: datetime, reason: str, counts: Mapping[str, int], to: str = "") -> str:
    """Keeps the record of one act of erasing: when, why, how many rows; nothing about whom.

    `to` is the record of the same run, whose counts are raised instead; if it was proved already, a new one is made.
    """
    t, new = s.erasures, unit.new_id()
    if to:
        same = (t.c.shop_id == unit.shop_id, t.c.id == to, t.c.confirmed_at.is_(None))
        so_far = unit.connection.execute(select(t.c.counts).where(*same)).scalar()
        if so_far is not None:
            _change(unit, t, t.c.id == to, {"counts": dict(Counter(so_far) + Counter(counts)), "at": at})
            return to
    unit.connection.execute(insert(t).values(shop_id=unit.shop_id, id=new, at=at, reason=reason, counts=dict(counts)))
    return new


def confirm_erasures(unit: Unit, ids: Iterable[str], *, at: datetime) -> None:
    """Marks these erasures as proved: they were made before the rewriting, and nothing of them is left."""
    t = s.erasures
    for chunk in chunks(ids):
        _change(unit, t, t.c.id.in_(chunk) & t.c.confirmed_at.is_(None), {"confirmed_at": at})


def list_erasures(unit: Unit) -> tuple[Any, ...]:
    """Every erasure record, newest first (id, at, reason, counts, confirmed_at)."""
    t = s.erasures
    return tuple(unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id).order_by(t.c.at.desc())))


def message_ids_of(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of every message that was composed for these people, to find kept copies by."""
    t = s.messages
    found: list[str] = []
    for ids in chunks(person_ids, BATCH):
        visits = visits_of(unit, ids)
        for near in (t.c.visit_id.in_(some) for some in chunks(visits, 5000)):
            theirs = t.c.sealed_for.in_(ids) | t.c.person_id.in_(ids)
            query = select(t.c.message_id).where(t.c.shop_id == unit.shop_id, near, theirs, t.c.message_id.is_not(None))
            found.extend(one for one in unit.connection.execute(query).scalars() if one)
    return tuple(found)


def is_soon_rewritten(db: Database) -> bool:
    """Whether rewriting the files holds writers up for about a second at most (measured: SOON)."""
    return db.size() <= SOON


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

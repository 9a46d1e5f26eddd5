"""Overwrites what is held about people and keeps the record. Longer than other rooms: beside the list of what goes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Table, and_, bindparam, func, insert, literal_column, select, union, update

from notify.core.errors import Unavailable
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.doubts import settle_of_forgotten
from notify.store.engine import rewrite_tables
from notify.store.listed import listed
from notify.store.prepared import Prepared
from notify.store.statements import given, is_in, where
from notify.store.vault import VEILED_CLAIM

# At most so many people in one transaction. Measured on two cores, processor time: the lock is held 36 ms at 150, 24 at
# 100, 13 at 50, 58 at 250; each person costs 0.34 ms at 100 to 250, 0.39 at 50. Beside a busy disk or busy cores it is
# longer by the clock: then fewer go at once (flows/forget.HELD).
BATCH = 150
# A database of so many octets is rewritten within about 100 ms. SQLite lets nobody write meanwhile: VACUUM took 0.5 s
# of 98 MB, 9.6 s of 1 GB, and 0.8 s of 47 MB on a busy machine and disk; readers go on. PostgreSQL keeps readers out of
# the table that is rewritten: a claim page waited 0.2 s at 50 MB (10 of them empty tables), 1.2 s at 555 MB with 51,000
# messages (two cores, SQLite 3.40.1, PostgreSQL 15).
SOON = 20_000_000

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
# What stands in clear beside it and may hint at somebody: the shelf label, a gateway's name for a message. And when.
_BESIDE: Mapping[str, Mapping[str, Any]] = {
    s.tickets.name: {"shelf": "", "token_hash": bindparam("veiled")},
    s.messages.name: {"provider_id": None},
    s.people.name: {"forgotten_at": bindparam("now")},
}


@dataclass(frozen=True, slots=True)
class Traces:
    """Where these people left anything: their visits, and the tickets of those, whoever the tickets are of."""

    people: tuple[str, ...]
    visits: tuple[str, ...] = ()
    tickets: tuple[str, ...] = ()
    links: tuple[tuple[str, str, str | None], ...] = field(default=(), repr=False)  # ticket, whose, hash of the link


def _theirs(table: Table, owner: str) -> ColumnElement[bool]:
    """The rows of the people, led to by an index."""
    c = table.c
    theirs = listed(c[owner], "people")
    if table is s.messages:  # sealed for the visit's bringer, it bears the name and address of whom it was sent to
        theirs |= listed(c.person_id, "people")
    if table.name in _BY_VISIT:
        theirs &= listed(c.visit_id, "visits")
    if table.name in _BY_TICKET:
        theirs &= listed(c.ticket_id, "tickets")
    if table is s.replies:  # each way by its own index; said as "or", SQLite would read every reply of the shop
        ways = (listed(c.visit_id, "visits"), listed(c.person_id, "people"))
        theirs &= c.id.in_(union(*(select(c.id).where(*where(table), way) for way in ways)))
    return and_(*where(table), theirs)


def _emptying(table: Table, owner: str, columns: tuple[str, ...]) -> Prepared:
    which = and_(*where(table, "id")) if table is s.tickets else _theirs(table, owner)
    return Prepared(update(table).where(which).values(dict.fromkeys(columns) | dict(_BESIDE.get(table.name, {}))))


_EMPTY = {table.name: _emptying(table, owner, columns) for table, owner, columns in SEALED}
_T, _M, _R = s.tickets, s.messages, s.receipts
_VISITS_OF = Prepared(
    # Not "distinct": for that SQLite would walk through every ticket of the shop, in the order of the visits.
    select(
        union(*(select(table.c.visit_id).where(*where(table), listed(table.c.person_id, "people"))
                for table in (s.visit_people, _T))).subquery()
    )
)  # fmt: skip
_TICKETS_OF = Prepared(
    select(_T.c.id, _T.c.person_id, _T.c.token_hash).where(*where(_T), listed(_T.c.visit_id, "visits"))
)
_SENT = select(_M.c.id).where(_theirs(_M, "sealed_for"))
_EMPTY_RECEIPTS = Prepared(
    # The words of a far mail server, which may quote an address.
    update(_R).where(*where(_R), _R.c.message_id.in_(_SENT), _R.c.text != literal_column("''")).values(text="")
)
_MESSAGE_IDS = Prepared(select(_M.c.message_id).where(_theirs(_M, "sealed_for"), _M.c.message_id.is_not(None)))
_NAMED = (*where(_M), listed(_M.c.id, "messages"))
_EMPTY_NAMED = Prepared(update(_M).where(*_NAMED).values(bytes_sealed=None, sentence_sealed=None))
_COPIES = Prepared(select(_M.c.message_id).where(*_NAMED, _M.c.message_id.is_not(None)))
_P = s.people
_NOT_YET = Prepared(select(_P.c.id).where(*where(_P), listed(_P.c.id, "people"), _P.c.forgotten_at.is_(None)))
_D = s.passes
_E = s.erasures
_SO_FAR = Prepared(select(_E.c.counts).where(*where(_E, "id"), _E.c.confirmed_at.is_(None)))
_ADD_TO = Prepared(update(_E).where(*where(_E, "id")).values(counts=bindparam("counts"), at=bindparam("now")))
_WAITING = (*where(_E), listed(_E.c.id, "ids"), _E.c.confirmed_at.is_(None))
_CONFIRM = Prepared(update(_E).where(*_WAITING).values(confirmed_at=bindparam("now")))
_NAMED_BY = Prepared(
    select(_D.c.person_id)
    .join(_P, (_P.c.shop_id == _D.c.shop_id) & (_P.c.id == _D.c.person_id))
    .where(*where(_D), listed(_D.c.given_by, "people"), _P.c.forgotten_at.is_(None))
)
_NAMING = Prepared(
    select(_M.c.id, _M.c.refs)
    .join(_D, (_D.c.shop_id == _M.c.shop_id) & (_D.c.visit_id == _M.c.visit_id))
    .where(*where(_M), listed(_D.c.person_id, "people"), is_in(_M.c.notice, "handed_back"))
)


def not_yet(unit: Unit, person_ids: Sequence[str]) -> tuple[str, ...]:
    """Those of these people of the shop who are not marked as forgotten."""
    return tuple(_NOT_YET.firsts(unit.connection, {**given(unit), "people": person_ids})) if person_ids else ()


def traces_of(unit: Unit, person_ids: Iterable[str]) -> Traces:
    """Finds them by index, once for all that is then said of them. At most some hundred people at a time."""
    people = tuple(dict.fromkeys(person_ids))
    if not people:
        return Traces(people)
    visits = visits_of(unit, people)
    links = _TICKETS_OF.rows(unit.connection, {**given(unit), "visits": visits})
    return Traces(people, visits, tuple(link[0] for link in links), tuple(links))


def visits_of(unit: Unit, person_ids: Sequence[str]) -> tuple[str, ...]:
    """The visits that these people have a part in."""
    return tuple(_VISITS_OF.firsts(unit.connection, {**given(unit), "people": person_ids}))


def overwrite(unit: Unit, traces: Traces, *, at: datetime) -> Mapping[str, int]:
    """Empties every sealed column and blind index of these people; rows touched per table.

    Whoever is forgotten already is left as they are, so that it may be said again.
    """
    whose = {**given(unit), "people": traces.people, "visits": traces.visits, "tickets": traces.tickets, "now": at}
    whose["people"] = left = not_yet(unit, traces.people)
    if not left:
        return {}
    # The receipts first, while the messages say whose they are.
    counts = {s.receipts.name: _EMPTY_RECEIPTS.write(unit.connection, whose)}
    settle_of_forgotten(unit, left, traces.tickets, at=at)
    for name, emptied in _EMPTY.items():
        counts[name] = _veil(unit, traces, set(left)) if name == _T.name else emptied.write(unit.connection, whose)
    return counts


def _veil(unit: Unit, traces: Traces, left: Collection[str]) -> int:
    """Leaves only a keyed hash of each claim link: who finds an old mail cannot look the ticket up in a stolen file."""
    rows = [{"the_id": ticket_id, "veiled": _veiled(unit, plain)}
            for ticket_id, whose, plain in traces.links if whose in left]  # fmt: skip
    if rows:
        _EMPTY[_T.name].write_all(unit.connection, rows, same=given(unit))
    return len(rows)


def _veiled(unit: Unit, plain: str | None) -> str | None:
    return None if plain is None else unit.opener.lookup(VEILED_CLAIM, plain)


def delegates_of(unit: Unit, person_ids: Sequence[str]) -> tuple[str, ...]:
    """Those named in passes by these people: whoever named them is gone, and so is the reason to keep them."""
    return tuple(_NAMED_BY.firsts(unit.connection, {**given(unit), "people": person_ids}))


def messages_naming(unit: Unit, delegates: Sequence[str]) -> tuple[str, ...]:
    """The messages that told a customer by name who had collected with a pass."""
    rows = _NAMING.rows(unit.connection, {**given(unit), "people": delegates}) if delegates else ()
    whom = set(delegates)
    return tuple(dict.fromkeys(row.id for row in rows if row.refs.get("collector") in whom))


def empty_messages(unit: Unit, message_ids: Iterable[str]) -> int:
    """Empties the bytes of these messages; how many there were."""
    return _EMPTY_NAMED.write(unit.connection, {**given(unit), "messages": list(message_ids)})


def kept_copies(unit: Unit, message_ids: Iterable[str]) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of these messages, to find kept copies by."""
    return tuple(_COPIES.firsts(unit.connection, {**given(unit), "messages": list(message_ids)}))


def unconfirmed(unit: Unit) -> tuple[str, ...]:
    """The erasures that wait for their proof."""
    t = s.erasures
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.confirmed_at.is_(None))
    return tuple(unit.connection.execute(query).scalars())


def newest_unconfirmed(unit: Unit) -> datetime | None:
    """When something was last erased that waits for its proof; None if nothing does."""
    t = s.erasures
    newest = select(func.max(t.c.at)).where(t.c.shop_id == unit.shop_id, t.c.confirmed_at.is_(None))
    found: datetime | None = unit.connection.execute(newest).scalar()
    return found


def add_erasure(unit: Unit, *, at: datetime, reason: str, counts: Mapping[str, int], to: str = "") -> str:
    """Keeps the record of one act of erasing: when, why, how many rows; nothing about whom.

    `to` is the record of the same run, whose counts are raised instead; if it was proved already, a new one is made.
    """
    t, new = s.erasures, unit.new_id()
    if to:
        for so_far in _SO_FAR.rows(unit.connection, given(unit, id=to)):
            whole = {"counts": dict(Counter(so_far.counts) + Counter(counts)), "now": at}
            _ADD_TO.write(unit.connection, {**given(unit, id=to), **whole})
            return to
    unit.connection.execute(insert(t).values(shop_id=unit.shop_id, id=new, at=at, reason=reason, counts=dict(counts)))
    return new


def confirm_erasures(unit: Unit, ids: Iterable[str], *, at: datetime) -> None:
    """Marks these erasures as proved: they were made before the rewriting, and nothing of them is left."""
    _CONFIRM.write(unit.connection, {**given(unit), "ids": list(ids), "now": at})


def list_erasures(unit: Unit) -> tuple[Any, ...]:
    """Every erasure record, newest first (id, at, reason, counts, confirmed_at)."""
    t = s.erasures
    return tuple(unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id).order_by(t.c.at.desc())))


def message_ids_of(unit: Unit, traces: Traces) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of every message that was composed for these people, to find kept copies by."""
    values = {**given(unit), "people": traces.people, "visits": traces.visits}
    return tuple(_MESSAGE_IDS.firsts(unit.connection, values))


def is_soon_rewritten(db: Database) -> bool:
    """Whether rewriting the files holds nobody up for long (measured: SOON)."""
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

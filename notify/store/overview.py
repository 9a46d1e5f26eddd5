"""How many rows of each kind of data there are and how old, consents as they stand, and who waits: figures only.

For the owner's view. Each figure is one statement over a whole table, so this is a page to look at now and then.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.sql import FromClause

from notify.core.requests import OPEN
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.listed import listed

AGES = (30, 90, 365, 3 * 365)  # days: younger than the first, up to the second, and so on; the last has no end


@dataclass(frozen=True, slots=True)
class Aged:
    """How many rows of one kind of data there are, by AGES."""

    data_class: str
    by_age: tuple[int, ...]

    @property
    def rows(self) -> int:
        """All of them."""
        return sum(self.by_age)


@dataclass(frozen=True, slots=True)
class Consent:
    """How many people last said yes, and how many no, to one purpose by one channel; forgotten people left out."""

    channel: str
    purpose: str
    given: int
    withdrawn: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """A request by law that is open: its identifier, kind, claim number of the visit ("" if none), last day."""

    id: str
    kind: str
    number: str
    last_day: date


@dataclass(frozen=True, slots=True)
class Erasure:
    """A record of erasing: when, why, rows by table, and when it was proved that nothing readable is left."""

    at: datetime
    reason: str
    counts: Mapping[str, int]
    confirmed_at: datetime | None


def ages(unit: Unit, now: datetime) -> tuple[Aged, ...]:
    """Every kind of data that is kept in rows, by how old they are."""
    return tuple(Aged(code, _count(unit, table, at, which, now)) for code, table, at, which in _kinds(unit))


def _kinds(unit: Unit) -> Iterable[tuple[str, FromClause, Any, tuple[ColumnElement[bool], ...]]]:
    p, r, e, u = s.people, s.replies, s.erasures, s.suppressions
    named = p.c.id.in_(select(s.passes.c.person_id).where(s.passes.c.shop_id == unit.shop_id))
    here = p.c.forgotten_at.is_(None)
    yield "contact_card", p, p.c.created_at, (here, ~named)
    yield "delegate", p, p.c.created_at, (here, named)
    yield "consent_record", s.consents, s.consents.c.at, ()
    yield "request_record", s.requests, s.requests.c.received_at, ()
    yield "erasure_record", e, e.c.at, ()
    yield "access_log", s.contact_reads, s.contact_reads.c.last_at, ()
    yield "stranger", r, r.c.taken_at, (r.c.sealed_for == r.c.id,)
    yield "suppression", u, u.c.at, (u.c.ended_at.is_(None),)
    yield "job_record", s.tickets, s.tickets.c.created_at, ()


def _count(
    unit: Unit, table: FromClause, at: Any, which: Sequence[ColumnElement[bool]], now: datetime
) -> tuple[int, ...]:
    """One pass: how many are younger than each edge, and how many there are; the differences are the ages."""
    edges = [func.sum(case((at > now - timedelta(days=days), 1), else_=0)) for days in AGES]
    query = select(*edges, func.count()).select_from(table).where(table.c.shop_id == unit.shop_id, *which)
    sums = [int(one or 0) for one in unit.connection.execute(query).one()]
    return tuple(more - less for less, more in zip([0, *sums[:-1]], sums, strict=True))


def consents(unit: Unit) -> tuple[Consent, ...]:
    """What counts today: of each person, channel and purpose the newest row."""
    c, p = s.consents, s.people
    newest = (
        select(c.c.person_id, c.c.channel, c.c.purpose, func.max(c.c.seq).label("seq"))
        .where(c.c.shop_id == unit.shop_id)
        .group_by(c.c.person_id, c.c.channel, c.c.purpose)
        .subquery()
    )
    same = [c.c[name] == newest.c[name] for name in ("person_id", "channel", "purpose", "seq")]
    given = func.sum(case((c.c.allowed, 1), else_=0))
    query = (
        select(c.c.channel, c.c.purpose, given.label("given"), func.count().label("asked"))
        .join(newest, same[0] & same[1] & same[2] & same[3])
        .join(p, (p.c.shop_id == c.c.shop_id) & (p.c.id == c.c.person_id))
        .where(c.c.shop_id == unit.shop_id, p.c.forgotten_at.is_(None))
        .group_by(c.c.channel, c.c.purpose)
        .order_by(c.c.purpose, c.c.channel)
    )
    rows = unit.connection.execute(query)
    return tuple(Consent(row.channel, row.purpose, int(row.given), row.asked - int(row.given)) for row in rows)


def suppressions(unit: Unit) -> Mapping[str, int]:
    """channel -> addresses there that want nothing more."""
    t = s.suppressions
    query = (
        select(t.c.channel, func.count(func.distinct(t.c.hash)).label("number"))
        .where(t.c.shop_id == unit.shop_id, t.c.ended_at.is_(None))
        .group_by(t.c.channel)
    )
    return {row.channel: row.number for row in unit.connection.execute(query)}


def waiting(unit: Unit) -> tuple[Waiting, ...]:
    """The open requests, whose day comes first on top; nothing of them is opened."""
    t = s.requests
    last = func.coalesce(t.c.extended_to, t.c.due_on)
    query = (
        select(t.c.id, t.c.kind, t.c.visit_id, t.c.extended_to, t.c.due_on)
        .where(t.c.shop_id == unit.shop_id, t.c.state == OPEN)
        .order_by(last, t.c.seq)
    )
    rows = unit.connection.execute(query).all()
    numbers = numbers_of_visits(unit, [row.visit_id for row in rows])
    return tuple(
        Waiting(row.id, row.kind, numbers.get(row.visit_id, ""), row.extended_to or row.due_on) for row in rows
    )


def tickets_of_people(unit: Unit, person_ids: Iterable[str]) -> Mapping[str, tuple[str, str]]:
    """person -> (ticket, claim number) of the newest visit in which they have any part."""
    t, v = s.tickets, s.visit_people
    query = (
        select(v.c.person_id, t.c.id, t.c.number)
        .join(t, (t.c.shop_id == v.c.shop_id) & (t.c.visit_id == v.c.visit_id))
        .where(v.c.shop_id == unit.shop_id, listed(v.c.person_id, "people"))
        .order_by(t.c.created_at, t.c.number)
    )
    rows = unit.connection.execute(query, {"people": list(person_ids)})
    return {row.person_id: (row.id, row.number) for row in rows}


def numbers_of_visits(unit: Unit, visit_ids: Iterable[str]) -> Mapping[str, str]:
    """visit -> claim number of its newest ticket."""
    t = s.tickets
    query = (
        select(t.c.visit_id, t.c.number)
        .where(t.c.shop_id == unit.shop_id, listed(t.c.visit_id, "visits"))
        .order_by(t.c.created_at, t.c.number)
    )
    rows = unit.connection.execute(query, {"visits": list(visit_ids)})
    return {row.visit_id: row.number for row in rows}


def last_erasures(unit: Unit, *, limit: int) -> tuple[Erasure, ...]:
    """The newest records of erasing, the newest first."""
    t = s.erasures
    query = select(t).where(t.c.shop_id == unit.shop_id).order_by(t.c.at.desc(), t.c.id).limit(limit)
    return tuple(Erasure(row.at, row.reason, row.counts, row.confirmed_at) for row in unit.connection.execute(query))


def newest_erasure(unit: Unit) -> str:
    """Another text after every act of erasing; "" before the first."""
    newest = unit.connection.execute(select(func.max(s.erasures.c.at)).where(s.erasures.c.shop_id == unit.shop_id))
    at = newest.scalar()
    return at.isoformat() if at is not None else ""


def unproved(unit: Unit) -> int:
    """How many erasures wait for their proof."""
    t = s.erasures
    query = select(func.count()).where(t.c.shop_id == unit.shop_id, t.c.confirmed_at.is_(None))
    return int(unit.connection.execute(query).scalar_one())

"""What a forecast of the whole shop is made from, read with a handful of statements; no text is opened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select

from notify.core.bench_order import IN_WORK
from notify.core.tickets import Phase
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import among, given, is_in, one_of, where
from notify.store.tickets import Job

_T, _P, _Q, _S, _A = s.tickets, s.parts, s.questions, s.staff, s.absences
_JOB = [_T.c[name] for name in Job.__dataclass_fields__]
_JOBS = select(*_JOB).where(*where(_T), one_of(_T.c.phase, IN_WORK)).order_by(_T.c.created_at, _T.c.number, _T.c.id)
_STANDS = select(_T.c.id, _T.c.promise_at).where(*where(_T), one_of(_T.c.phase, IN_WORK))
_PARTS = (
    select(_P.c.id, _P.c.ticket_id, _P.c.state, _P.c.supplier_id, _P.c.needed_at, _P.c.due_at)
    .where(*where(_P), one_of(_P.c.state, ("needed", "ordered")))
    .order_by(_P.c.ticket_id, _P.c.id)
)
_ASKED = select(_Q.c.ticket_id).where(*where(_Q), among(_Q, "ticket_id"), is_in(_Q.c.state, "open"))
_BENCH = (
    select(_S.c.id).where(*where(_S), _S.c.active.is_(True), _S.c.at_bench.is_(True)).order_by(_S.c.created_at, _S.c.id)
)
_AWAY = (
    select(_A.c.staff_id, _A.c.starts_at, _A.c.ends_at)
    .where(*where(_A), _A.c.ends_at > bindparam("after"))
    .order_by(_A.c.starts_at, _A.c.staff_id)
)


@dataclass(frozen=True, slots=True)
class Missing:
    """A part that a ticket still waits for; `due_at` None when nobody knows, or nobody has ordered it."""

    id: str
    ticket_id: str
    state: str
    supplier_id: str | None
    needed_at: datetime
    due_at: datetime | None


@dataclass(frozen=True, slots=True)
class Away:
    """When somebody who repairs is not here."""

    staff_id: str
    starts_at: datetime
    ends_at: datetime


def jobs(unit: Unit) -> tuple[Job, ...]:
    """Every ticket in work, the oldest first, its texts left sealed."""
    return tuple(_job(row) for row in unit.connection.execute(_JOBS, given(unit)))


def promises_in_work(unit: Unit) -> Mapping[str, datetime | None]:
    """ticket -> the time it is promised for, for every ticket in work."""
    return {row.id: row.promise_at for row in unit.connection.execute(_STANDS, given(unit))}


def missing_parts(unit: Unit) -> tuple[Missing, ...]:
    """Every part that is needed or ordered and not here, by ticket."""
    return tuple(Missing(*row) for row in unit.connection.execute(_PARTS, given(unit)))


def asked(unit: Unit, ticket_ids: Iterable[str]) -> frozenset[str]:
    """Those of the tickets whose customer has an open question."""
    whole = {**given(unit), "any_ticket_id": list(ticket_ids)}
    return frozenset(unit.connection.execute(_ASKED, whole).scalars())


def at_bench(unit: Unit) -> tuple[str, ...]:
    """The identifiers of whoever repairs here, whoever came first on top."""
    return tuple(unit.connection.execute(_BENCH, given(unit)).scalars())


def away_after(unit: Unit, moment: datetime) -> tuple[Away, ...]:
    """The absences that end after that instant, in order."""
    return tuple(Away(*row) for row in unit.connection.execute(_AWAY, {**given(unit), "after": moment}))


def _job(row: Any) -> Job:
    known = dict(row._mapping)
    return Job(**(known | {"phase": Phase(row.phase), "safety": tuple(row.safety)}))

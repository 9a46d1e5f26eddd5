"""Finished repairs to learn from: our own ones, and those of a shop's history that were read in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import case, delete, func, insert, select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import among, given, where

_T = s.past_jobs
_OF_TICKET = Prepared(select(_T).where(*where(_T, "ticket_id")))
_DROP = Prepared(delete(_T).where(*where(_T, "ticket_id")))
_KNOWN = select(_T.c.digest).where(*where(_T), among(_T, "digest"))
_ADD = insert(_T)
_ADD_OWN = Prepared(_ADD.inline())


@dataclass(frozen=True, slots=True)
class PastJob:
    """One finished repair: hands-on minutes of a kind. `counts`: not kept out as absurd (core/past_jobs.py)."""

    kind_id: str
    minutes: float
    ended_at: datetime
    counts: bool = True


def add_own(unit: Unit, ticket_id: str, job: PastJob) -> None:
    """Keeps what a ticket of ours came to."""
    _ADD_OWN.later(unit.connection, _row(unit, job, ticket_id=ticket_id, source="own", digest=None))


def of_ticket(unit: Unit, ticket_id: str) -> PastJob | None:
    """What was kept of a ticket, or None."""
    rows = _OF_TICKET.rows(unit.connection, given(unit, ticket_id=ticket_id))
    return next((PastJob(row.kind_id, row.minutes, row.ended_at, row.counts) for row in rows), None)


def drop_own(unit: Unit, ticket_id: str) -> None:
    """Drops what was kept of a ticket."""
    _DROP.write(unit.connection, given(unit, ticket_id=ticket_id))


def known_digests(unit: Unit, digests: Sequence[str]) -> frozenset[str]:
    """Those of these lines that were read in before; as many at once as a statement takes (30,000)."""
    values = {**given(unit), "any_digest": list(digests)}
    return frozenset(unit.connection.execute(_KNOWN, values).scalars()) if digests else frozenset()


def add_read(unit: Unit, read: Sequence[tuple[str, PastJob]]) -> None:
    """Keeps jobs of a history that was read in, each with the digest of its line; none may be known already."""
    if read:
        rows = [_row(unit, job, ticket_id=None, source="import", digest=digest) for digest, job in read]
        unit.connection.execute(_ADD, rows)


def drop_read(unit: Unit) -> int:
    """Drops every job that was read in; how many. The sums of the kinds are to be made anew after it."""
    return unit.connection.execute(delete(_T).where(*where(_T), _T.c.source == "import"), given(unit)).rowcount


def all_minutes(unit: Unit) -> Iterator[tuple[str, float]]:
    """(kind, minutes) of every job that counts, in no order."""
    query = select(_T.c.kind_id, _T.c.minutes).where(*where(_T), _T.c.counts)
    yield from ((row.kind_id, row.minutes) for row in unit.connection.execute(query, given(unit)))


def newest(unit: Unit, *, limit: int) -> tuple[tuple[str, float], ...]:
    """(kind, minutes) of the newest jobs that count, the oldest of them first."""
    query = (
        select(_T.c.kind_id, _T.c.minutes)
        .where(*where(_T), _T.c.counts)
        .order_by(_T.c.ended_at.desc(), _T.c.id.desc())
        .limit(limit)
    )
    rows = unit.connection.execute(query, given(unit)).all()
    return tuple((row.kind_id, row.minutes) for row in reversed(rows))


def counted(unit: Unit) -> dict[str, tuple[int, int]]:
    """Of each kind with past jobs: how many were read in and count, and how many were kept out as absurd."""
    read = func.sum(case(((_T.c.source == "import") & _T.c.counts, 1), else_=0))
    out = func.sum(case((_T.c.counts, 0), else_=1))
    query = select(_T.c.kind_id, read.label("read"), out.label("out")).where(*where(_T)).group_by(_T.c.kind_id)
    return {row.kind_id: (int(row.read), int(row.out)) for row in unit.connection.execute(query, given(unit))}


def _row(unit: Unit, job: PastJob, **more: Any) -> dict[str, Any]:
    return {
        "shop_id": unit.shop_id, "id": unit.new_id(), "kind_id": job.kind_id, "minutes": job.minutes,
        "ended_at": job.ended_at, "counts": job.counts, **more,
    }  # fmt: skip

"""Since when nothing of a person is open, and what keeps them all the same: facts for the rules of keeping."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import case, func, select
from sqlalchemy.sql import ColumnElement

from notify.core.tickets import OPEN_PHASES, Phase
from notify.store import schema as s
from notify.store.database import Unit

_CLOSED = [phase for phase in Phase if phase not in OPEN_PHASES]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A person none of whose tickets is open: when the last one was closed, and the reasons found to keep them.

    `reasons` has the codes of core/retention.EXCEPTIONS.
    """

    person_id: str
    last_closed_at: datetime
    reasons: Mapping[str, bool]


def candidates(unit: Unit, *, closed_by: datetime | None = None, person_id: str = "") -> tuple[Candidate, ...]:
    """Every person not yet forgotten with no open ticket in any visit they have a part in, whatever the part.

    Only those whose last ticket was closed by that instant, or one person, if given.
    """
    t, v, p = s.tickets, s.visit_people, s.people
    flags = {code: func.sum(case((owed, 1), else_=0)) for code, owed in _reasons(unit).items()}
    query = (
        select(p.c.id, func.max(t.c.phase_since).label("last"), *(flag.label(code) for code, flag in flags.items()))
        .join(v, (v.c.shop_id == p.c.shop_id) & (v.c.person_id == p.c.id))
        .join(t, (t.c.shop_id == v.c.shop_id) & (t.c.visit_id == v.c.visit_id))
        .where(p.c.shop_id == unit.shop_id, p.c.forgotten_at.is_(None))
        .group_by(p.c.id)
        .having(func.sum(case((t.c.phase.in_(_CLOSED), 0), else_=1)) == 0)
    )
    if closed_by is not None:
        query = query.having(func.max(t.c.phase_since) <= closed_by)
    if person_id:
        query = query.where(p.c.id == person_id)
    return tuple(_candidate(row, flags) for row in unit.connection.execute(query))


def _candidate(row: Any, flags: Mapping[str, Any]) -> Candidate:
    return Candidate(row.id, row.last, {code: bool(getattr(row, code)) for code in flags})


def _reasons(unit: Unit) -> dict[str, ColumnElement[bool]]:
    """What keeps a person, as seen from one ticket of theirs: by code of core/retention.EXCEPTIONS."""
    t = s.tickets
    owes = t.c.paid.is_(False) & (t.c.price_agreed > func.coalesce(t.c.deposit, 0)) & (t.c.outcome == "repaired")
    return {"unpaid": owes, "uncollected": t.c.phase == Phase.LEFT_BEHIND}


def delegates_ended(unit: Unit) -> tuple[tuple[str, datetime, str], ...]:
    """Those named in passes that have ended and who are not forgotten yet: person, when it ended, and the visit."""
    t, p = s.passes, s.people
    query = (
        select(t.c.person_id, t.c.ended_at, t.c.visit_id)
        .join(p, (p.c.shop_id == t.c.shop_id) & (p.c.id == t.c.person_id))
        .where(t.c.shop_id == unit.shop_id, t.c.ended_at.is_not(None), p.c.forgotten_at.is_(None))
    )
    return tuple((row.person_id, row.ended_at, row.visit_id) for row in unit.connection.execute(query))

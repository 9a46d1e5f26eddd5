"""Questions to the customer: rows in, opened questions out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import given, where

_T = s.questions
_OF_TICKET = select(_T).where(*where(_T, "ticket_id")).order_by(_T.c.asked_at, _T.c.id)


@dataclass(frozen=True, slots=True)
class Question:
    """One question, opened; `price` in minor units. The wording is frozen as it was asked."""

    id: str
    ticket_id: str
    person_id: str
    kind: str
    wording: str
    price: int | None
    part_id: str | None
    state: str
    answer: str
    asked_at: datetime
    expires_at: datetime
    answered_at: datetime | None
    answered_how: str
    said_by: str
    staff_id: str | None


def add_question(
    unit: Unit,
    *,
    ticket_id: str,
    person_id: str,
    kind: str,
    wording: str,
    price: int | None,
    part_id: str | None,
    at: datetime,
    expires_at: datetime,
    staff_id: str | None,
) -> str:
    """Adds an open question; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.questions).values(
            shop_id=unit.shop_id,
            id=new,
            ticket_id=ticket_id,
            person_id=person_id,
            kind=kind,
            wording_sealed=unit.seal(person_id, "questions", new, "wording", wording) if wording else None,
            price=price,
            part_id=part_id,
            state="open",
            asked_at=at,
            expires_at=expires_at,
            staff_id=staff_id,
        )
    )
    return new


def get_question(unit: Unit, question_id: str, *, lock: bool = False) -> Question:
    """The question; raises NotFound."""
    t = s.questions
    query = select(t).where(t.c.shop_id == unit.shop_id, t.c.id == question_id)
    row = unit.connection.execute(query.with_for_update() if lock else query).first()
    if row is None:
        raise NotFound("There is no such question", "Open the ticket again; it may have been withdrawn.")
    return _opened(unit, row)


def questions_of(unit: Unit, ticket_id: str) -> tuple[Question, ...]:
    """Every question of a ticket, oldest first."""
    rows = unit.connection.execute(_OF_TICKET, given(unit, ticket_id=ticket_id))
    return tuple(_opened(unit, row) for row in rows.all())


def questions_in(unit: Unit, states: Iterable[str], phases: Iterable[str]) -> tuple[Question, ...]:
    """Questions in any of `states` whose ticket is in any of `phases`, oldest first."""
    t, k = s.questions, s.tickets
    rows = unit.connection.execute(
        select(t)
        .join(k, (k.c.shop_id == t.c.shop_id) & (k.c.id == t.c.ticket_id))
        .where(t.c.shop_id == unit.shop_id, t.c.state.in_(list(states)), k.c.phase.in_(list(phases)))
        .order_by(t.c.asked_at, t.c.id)
    )
    found = rows.all()
    unit.opener.fetch({row.person_id for row in found})
    return tuple(_opened(unit, row) for row in found)


def open_question_ids(unit: Unit, *, expired_at: datetime | None = None) -> tuple[tuple[str, str], ...]:
    """(question, ticket) of every open question; only those past their end when `expired_at` is given."""
    t = s.questions
    query = select(t.c.id, t.c.ticket_id).where(t.c.shop_id == unit.shop_id, t.c.state == "open")
    if expired_at is not None:
        query = query.where(t.c.expires_at <= expired_at)
    return tuple((row.id, row.ticket_id) for row in unit.connection.execute(query.order_by(t.c.asked_at)))


def change_question(unit: Unit, question: Question, *, said_by: str = "", **columns: Any) -> None:
    """Writes changed columns; `said_by` (who gave the answer, in words) is sealed."""
    t = s.questions
    if said_by:
        columns["said_by_sealed"] = unit.seal(question.person_id, "questions", question.id, "said_by", said_by)
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == question.id).values(**columns))


def _opened(unit: Unit, row: Any) -> Question:
    return Question(
        id=row.id,
        ticket_id=row.ticket_id,
        person_id=row.person_id,
        kind=row.kind,
        wording=unit.open(row.person_id, "questions", row.id, "wording", row.wording_sealed),
        price=row.price,
        part_id=row.part_id,
        state=row.state,
        answer=row.answer,
        asked_at=row.asked_at,
        expires_at=row.expires_at,
        answered_at=row.answered_at,
        answered_how=row.answered_how,
        said_by=unit.open(row.person_id, "questions", row.id, "said_by", row.said_by_sealed),
        staff_id=row.staff_id,
    )

"""Visits: one person at the counter, the people it is about, by role."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import given, where

_VISIT = select(s.visits).where(*where(s.visits, "id"))
_PEOPLE = (
    select(s.visit_people.c.role, s.visit_people.c.person_id)
    .where(*where(s.visit_people, "visit_id"))
    .order_by(s.visit_people.c.person_id)
)


def add_visit(
    unit: Unit,
    *,
    waits_here: bool,
    people: Mapping[str, Iterable[str]],
    at: datetime,
    idempotency: str | None = None,
) -> str:
    """Opens a visit with its people by role (bringer, tell, payer, collector); its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.visits).values(
            shop_id=unit.shop_id, id=new, waits_here=waits_here, opened_at=at, idempotency=idempotency
        )
    )
    for role, ids in people.items():
        for person_id in dict.fromkeys(ids):
            unit.connection.execute(
                insert(s.visit_people).values(shop_id=unit.shop_id, visit_id=new, person_id=person_id, role=role)
            )
    return new


def get_visit(unit: Unit, visit_id: str) -> Any:
    """The visit's row (id, waits_here, opened_at); raises NotFound."""
    row = unit.once(("visit", visit_id), lambda: unit.connection.execute(_VISIT, given(unit, id=visit_id)).first())
    if row is None:
        raise NotFound("There is no such visit", "Look the ticket up by its claim number.")
    return row


def visit_people(unit: Unit, visit_id: str) -> Mapping[str, tuple[str, ...]]:
    """role -> person identifiers of a visit."""
    rows = unit.once(
        ("visit_people", visit_id), lambda: unit.connection.execute(_PEOPLE, given(unit, visit_id=visit_id)).all()
    )
    out: dict[str, tuple[str, ...]] = {}
    for row in rows:
        out[row.role] = (*out.get(row.role, ()), row.person_id)
    return out


def people_of_visits(unit: Unit, visit_ids: Iterable[str], role: str) -> Mapping[str, str]:
    """visit -> identifier of the first person in that role."""
    t = s.visit_people
    rows = unit.connection.execute(
        select(t.c.visit_id, t.c.person_id)
        .where(t.c.shop_id == unit.shop_id, t.c.visit_id.in_(set(visit_ids)), t.c.role == role)
        .order_by(t.c.person_id.desc())
    )
    return {row.visit_id: row.person_id for row in rows}


def add_visit_person(unit: Unit, visit_id: str, person_id: str, role: str) -> None:
    """Adds one person in a role to a visit."""
    unit.connection.execute(
        insert(s.visit_people).values(shop_id=unit.shop_id, visit_id=visit_id, person_id=person_id, role=role)
    )

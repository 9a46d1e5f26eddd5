"""Parts that tickets wait for: rows in, opened parts out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import given, where

_T = s.parts
_OF_TICKET = select(_T).where(*where(_T, "ticket_id")).order_by(_T.c.needed_at, _T.c.id)


@dataclass(frozen=True, slots=True)
class Part:
    """One part, opened. `label` is the short code on its bag."""

    id: str
    ticket_id: str
    person_id: str
    name: str
    label: str
    state: str
    supplier_id: str | None
    needed_at: datetime
    ordered_at: datetime | None
    due_at: datetime | None
    arrived_at: datetime | None


def add_part(unit: Unit, *, ticket_id: str, person_id: str, name: str, label: str, at: datetime) -> str:
    """Adds a needed part; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.parts).values(
            shop_id=unit.shop_id,
            id=new,
            ticket_id=ticket_id,
            person_id=person_id,
            label=label,
            state="needed",
            name_sealed=unit.seal(person_id, "parts", new, "name", name),
            needed_at=at,
        )
    )
    return new


def label_taken(unit: Unit, label: str) -> bool:
    """Whether a part label is already in use in this shop."""
    t = s.parts
    return (
        unit.connection.execute(select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.label == label)).first()
        is not None
    )


def get_part(unit: Unit, part_id: str, *, lock: bool = False) -> Part:
    """The part with this identifier or label; raises NotFound."""
    t = s.parts
    query = select(t).where(t.c.shop_id == unit.shop_id, (t.c.id == part_id) | (t.c.label == part_id))
    row = unit.connection.execute(query.with_for_update() if lock else query).first()
    if row is None:
        raise NotFound(f"There is no part {part_id[:20]!r}", "Look at the deliveries list.", field="part")
    return _opened(unit, row)


def parts_of(unit: Unit, ticket_id: str) -> tuple[Part, ...]:
    """Every part of a ticket, oldest first."""
    rows = unit.connection.execute(_OF_TICKET, given(unit, ticket_id=ticket_id))
    return tuple(_opened(unit, row) for row in rows.all())


def parts_in(unit: Unit, states: Iterable[str]) -> tuple[Part, ...]:
    """Parts in any of `states`, the earliest due first."""
    t = s.parts
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.state.in_(list(states))).order_by(t.c.due_at, t.c.needed_at)
    )
    return tuple(_opened(unit, row) for row in rows.all())


def count_due(unit: Unit, before: datetime) -> int:
    """How many ordered parts should be here before that instant; opens nothing."""
    t = s.parts
    due = (t.c.shop_id == unit.shop_id, t.c.state == "ordered", t.c.due_at < before)
    return int(unit.connection.execute(select(func.count()).select_from(t).where(*due)).scalar_one())


def arrived_since(unit: Unit, moment: datetime) -> tuple[Part, ...]:
    """Parts that came in since `moment`, the newest first."""
    t = s.parts
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.arrived_at >= moment).order_by(t.c.arrived_at.desc(), t.c.id)
    )
    return tuple(_opened(unit, row) for row in rows.all())


def change_part(unit: Unit, part: Part, **columns: Any) -> None:
    """Writes changed columns of a part."""
    t = s.parts
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == part.id).values(**columns))


def _opened(unit: Unit, row: Any) -> Part:
    return Part(
        id=row.id,
        ticket_id=row.ticket_id,
        person_id=row.person_id,
        name=unit.open(row.person_id, "parts", row.id, "name", row.name_sealed),
        label=row.label,
        state=row.state,
        supplier_id=row.supplier_id,
        needed_at=row.needed_at,
        ordered_at=row.ordered_at,
        due_at=row.due_at,
        arrived_at=row.arrived_at,
    )

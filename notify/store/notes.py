"""Notes of staff on a ticket: free text, always sealed under the customer's key."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert, select

from notify.store import schema as s
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Note:
    """One note, opened."""

    id: str
    text: str
    at: datetime
    staff_id: str | None
    event_id: str | None


def add_note(
    unit: Unit,
    *,
    ticket_id: str,
    person_id: str,
    text: str,
    at: datetime,
    staff_id: str | None,
    event_id: str | None = None,
) -> str:
    """Adds a note; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.notes).values(
            shop_id=unit.shop_id,
            id=new,
            ticket_id=ticket_id,
            person_id=person_id,
            at=at,
            staff_id=staff_id,
            event_id=event_id,
            text_sealed=unit.seal(person_id, "notes", new, "text", text),
        )
    )
    return new


def notes_of(unit: Unit, ticket_id: str) -> tuple[Note, ...]:
    """Every note of a ticket, oldest first."""
    t = s.notes
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.ticket_id == ticket_id).order_by(t.c.at, t.c.id)
    ).all()
    return tuple(
        Note(
            row.id,
            unit.open(row.person_id, "notes", row.id, "text", row.text_sealed),
            row.at,
            row.staff_id,
            row.event_id,
        )
        for row in rows
    )

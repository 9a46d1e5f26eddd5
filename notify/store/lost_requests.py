"""What was typed into the page of lost tickets: a claim number and when, until it is looked up a moment later."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, insert, select

from notify.store import schema as s
from notify.store.database import Database, Unit

_T = s.lost_requests
_MOST = 200


@dataclass(frozen=True, slots=True)
class FoundNumber:
    """Whose claim number it is, over all shops; nothing sealed was opened."""

    shop_id: str
    visit_id: str
    ticket_id: str


def add_request(unit: Unit, number: str, *, at: datetime) -> None:
    """Keeps a number to be looked up. The same statement for known and unknown ones."""
    unit.connection.execute(insert(_T).values(id=unit.new_id(), number=number, at=at))


def any_request(db: Database) -> bool:
    """Whether anything waits to be looked up."""
    with db.glance.connect() as connection:
        return connection.execute(select(_T.c.id).limit(1)).first() is not None


def take_requests(unit: Unit) -> tuple[tuple[str, datetime], ...]:
    """(number, when) of those that wait, oldest first; they are gone from the table."""
    rows = unit.connection.execute(select(_T).order_by(_T.c.at, _T.c.id).limit(_MOST)).all()
    unit.connection.execute(delete(_T).where(_T.c.id.in_([row.id for row in rows])))
    return tuple((row.number, row.at) for row in rows)


def find_number(db: Database, number: str) -> FoundNumber | None:
    """The ticket with this number in whichever shop; None for none. Two shops with the same: the newest ticket."""
    t = s.tickets
    query = select(t.c.shop_id, t.c.visit_id, t.c.id).where(t.c.number == number).order_by(t.c.created_at.desc())
    with db.glance.connect() as connection:
        row = connection.execute(query).first()
    return FoundNumber(row.shop_id, row.visit_id, row.id) if row else None

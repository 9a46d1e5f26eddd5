"""When somebody who works here is not here. Nothing is kept of the reason, and what is long past is deleted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.shops import note_change

_A = s.absences
_COLUMNS = (_A.c.id, _A.c.staff_id, _A.c.starts_at, _A.c.ends_at)


@dataclass(frozen=True, slots=True)
class Absence:
    """Somebody is away from `starts_at` until before `ends_at`."""

    id: str
    staff_id: str
    starts_at: datetime
    ends_at: datetime


def add_absence(unit: Unit, *, staff_id: str, starts_at: datetime, ends_at: datetime) -> str:
    """Notes that somebody is away from `starts_at` until before `ends_at`; its identifier."""
    new = unit.new_id()
    row = {"shop_id": unit.shop_id, "id": new, "staff_id": staff_id, "starts_at": starts_at, "ends_at": ends_at}
    unit.connection.execute(insert(_A).values(**row))
    note_change(unit)
    return new


def list_absences(unit: Unit, *, after: datetime) -> tuple[Absence, ...]:
    """Every absence that ends after that instant, by its beginning."""
    mine = select(*_COLUMNS).where(_A.c.shop_id == unit.shop_id, _A.c.ends_at > after)
    return tuple(Absence(*row) for row in unit.connection.execute(mine.order_by(_A.c.starts_at, _A.c.id)))


def get_absence(unit: Unit, absence_id: str) -> Absence:
    """One absence; raises NotFound."""
    mine = select(*_COLUMNS).where(_A.c.shop_id == unit.shop_id, _A.c.id == absence_id)
    row = unit.connection.execute(mine).first()
    if row is None:
        raise NotFound("There is no such absence", "Look at the list of staff.")
    return Absence(*row)


def end_absence(unit: Unit, absence_id: str, *, at: datetime) -> None:
    """Lets a running absence end now, and drops one that has not begun."""
    mine = (_A.c.shop_id == unit.shop_id, _A.c.id == absence_id)
    begun = unit.connection.execute(update(_A).where(*mine, _A.c.starts_at < at).values(ends_at=at)).rowcount
    if not begun:
        unit.connection.execute(delete(_A).where(*mine))
    note_change(unit)


def purge_absences(unit: Unit, *, before: datetime) -> int:
    """Deletes those that ended before that instant; how many. They change no forecast, so it is no change."""
    gone = delete(_A).where(_A.c.shop_id == unit.shop_id, _A.c.ends_at < before)
    return unit.connection.execute(gone).rowcount


def drop_absences_of(unit: Unit, staff_id: str) -> int:
    """Deletes all that is known of when somebody is away; how many."""
    gone = delete(_A).where(_A.c.shop_id == unit.shop_id, _A.c.staff_id == staff_id)
    return unit.connection.execute(gone).rowcount

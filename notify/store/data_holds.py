"""Reasons to keep somebody's data beyond their time, each with a day on which somebody looks again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import given, where

_T, _V = s.data_holds, s.visit_people
_OF_PARTS = (
    select(_V.c.person_id, _T.c.reason)
    .join(_V, (_V.c.shop_id == _T.c.shop_id) & (_V.c.visit_id == _T.c.visit_id))
    .where(*where(_T), _T.c.ended_at.is_(None))
)
_HELD, _HELD_ONE = Prepared(_OF_PARTS), Prepared(_OF_PARTS.where(*where(_V, "person_id")))


@dataclass(frozen=True, slots=True)
class DataHold:
    """One hold of a visit: it keeps everybody who has a part in it. The note stays sealed until it is asked for.

    `person_id` is whoever brought the visit, under whose key the note is sealed.
    """

    id: str
    visit_id: str
    person_id: str
    reason: str
    made_at: datetime
    review_on: date
    ended_at: datetime | None
    staff_id: str | None
    rung_for: date | None


def add_hold(
    unit: Unit, *, visit_id: str, person_id: str, reason: str, note: str, review_on: date, at: datetime,
    staff_id: str | None,
) -> str:  # fmt: skip
    """Writes a hold; its identifier. The note is sealed under the person's key; nothing is sealed when it is empty."""
    new = unit.new_id()
    sealed = unit.seal(person_id, "data_holds", new, "note", note) if note else None
    unit.connection.execute(
        insert(_T).values(
            shop_id=unit.shop_id, id=new, person_id=person_id, visit_id=visit_id, reason=reason, note_sealed=sealed,
            made_at=at, review_on=review_on, staff_id=staff_id,
        )
    )  # fmt: skip
    return new


def get_hold(unit: Unit, hold_id: str) -> DataHold:
    """The hold with this identifier. Raises NotFound."""
    row = unit.connection.execute(select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == hold_id)).first()
    if row is None:
        raise NotFound("There is no such hold", "Look at the list: shelfbell hold list.")
    return _hold(row)


def note_of(unit: Unit, hold_id: str) -> str:
    """What was noted about a hold; empty when nothing was, or once the person was forgotten. Raises NotFound."""
    hold = get_hold(unit, hold_id)
    query = select(_T.c.note_sealed).where(_T.c.shop_id == unit.shop_id, _T.c.id == hold_id)
    sealed = unit.connection.execute(query).scalar()
    try:
        return unit.open(hold.person_id, "data_holds", hold_id, "note", sealed) if sealed is not None else ""
    except NotFound:
        return ""


def live_holds(unit: Unit, *, visit_id: str = "") -> tuple[DataHold, ...]:
    """Every hold that has not ended, of one visit if given, the earliest review day first."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.ended_at.is_(None)).order_by(_T.c.review_on, _T.c.id)
    if visit_id:
        query = query.where(_T.c.visit_id == visit_id)
    return tuple(map(_hold, unit.connection.execute(query)))


def change_hold(unit: Unit, hold_id: str, **values: Any) -> None:
    """Writes these columns of a hold: review_on, rung_for, ended_at, ended_by."""
    unit.connection.execute(update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == hold_id).values(**values))


def held(unit: Unit, *, person_id: str = "") -> Iterable[tuple[str, str]]:
    """Person and reason, for each part that anybody, or one person, has in a visit that is held."""
    asked = _HELD_ONE if person_id else _HELD
    rows = asked.rows(unit.connection, given(unit, person_id=person_id))
    return tuple((row.person_id, row.reason) for row in rows)


def first_reviews(unit: Unit) -> Mapping[str, date]:
    """Person -> the first day on which somebody looks again at a hold of any visit they have a part in."""
    v = s.visit_people
    query = (
        select(v.c.person_id, func.min(_T.c.review_on).label("day"))
        .join(v, (v.c.shop_id == _T.c.shop_id) & (v.c.visit_id == _T.c.visit_id))
        .where(_T.c.shop_id == unit.shop_id, _T.c.ended_at.is_(None))
        .group_by(v.c.person_id)
    )
    return {row.person_id: row.day for row in unit.connection.execute(query)}


def _hold(row: Any) -> DataHold:
    return DataHold(**{name: getattr(row, name) for name in DataHold.__dataclass_fields__})

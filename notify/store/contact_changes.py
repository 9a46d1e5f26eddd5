"""Which contacts of a visit's people were noted after its check-in, and what had been told about it by then."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import exists, func, or_, select

from notify.store import schema as s
from notify.store.database import Unit

_C, _V, _P, _M = s.contacts, s.visits, s.visit_people, s.messages
_ROLES = ("bringer", "tell")  # both read where the device can be collected, and with what


@dataclass(frozen=True, slots=True)
class LaterContact:
    """A contact that was noted after the check-in, with another address than the person had by then."""

    contact_id: str
    person_id: str
    channel: str
    at: datetime
    opened_at: datetime


def later_contacts(unit: Unit, visit_id: str, *, since: datetime) -> tuple[LaterContact, ...]:
    """Those of the bringer and of who is told, noted after `since`, oldest first; also ones replaced again."""
    before = _C.alias("before")
    known = exists().where(
        before.c.shop_id == _C.c.shop_id, before.c.person_id == _C.c.person_id, before.c.lookup == _C.c.lookup,
        before.c.created_at <= _V.c.opened_at,
        or_(before.c.replaced_at.is_(None), before.c.replaced_at > _V.c.opened_at),
    )  # fmt: skip
    query = (
        select(_C.c.id, _C.c.person_id, _C.c.channel, _C.c.created_at, _V.c.opened_at)
        .join(_P, (_P.c.shop_id == _C.c.shop_id) & (_P.c.person_id == _C.c.person_id))
        .join(_V, (_V.c.shop_id == _P.c.shop_id) & (_V.c.id == _P.c.visit_id))
        .where(_P.c.shop_id == unit.shop_id, _P.c.visit_id == visit_id, _P.c.role.in_(_ROLES),
               _C.c.created_at > since, _C.c.created_at > _V.c.opened_at, ~known)
        .order_by(_C.c.created_at, _C.c.id)
        .distinct()
    )  # fmt: skip
    return tuple(LaterContact(*row) for row in unit.connection.execute(query))


def first_told(unit: Unit, visit_id: str) -> datetime | None:
    """When the first message about a visit to any of its people was written and tried; None when none was."""
    query = select(func.min(_M.c.composed_at)).where(
        _M.c.shop_id == unit.shop_id, _M.c.visit_id == visit_id, _M.c.person_id != "", _M.c.attempts > 0
    )
    return unit.connection.execute(query).scalar()


def told_contacts(unit: Unit, visit_id: str) -> frozenset[str]:
    """The contacts to which something about a visit was sent."""
    query = select(_M.c.contact_id).where(
        _M.c.shop_id == unit.shop_id, _M.c.visit_id == visit_id, _M.c.person_id != "", _M.c.attempts > 0,
        _M.c.contact_id.is_not(None),
    )  # fmt: skip
    return frozenset(unit.connection.execute(query).scalars())

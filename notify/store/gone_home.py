"""Which visits went home and when, opening nothing: whom one may ask some days later whether all is well."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import exists, func, select

from notify.core.tickets import OPEN_PHASES, Phase
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import given, where

_T, _OTHER, _NEXT = s.tickets, s.tickets.alias("other"), s.tickets.alias("next")
_SAME_VISIT = (_OTHER.c.shop_id == _T.c.shop_id, _OTHER.c.visit_id == _T.c.visit_id)
_STILL_HERE = exists().where(*_SAME_VISIT, _OTHER.c.phase.in_(sorted(OPEN_PHASES)))
# A warranty return is a ticket of its own that follows the old one, over or not.
_RETURNED = (
    select(_NEXT.c.id)
    .join(_OTHER, (_OTHER.c.shop_id == _NEXT.c.shop_id) & (_OTHER.c.id == _NEXT.c.follows_id))
    .where(_NEXT.c.shop_id == _T.c.shop_id, _NEXT.c.follows_id.is_not(None), _OTHER.c.visit_id == _T.c.visit_id)
    .exists()
)
_CAME_BACK = select(_T.c.id).where(*where(_T, "visit_id"), _STILL_HERE | _RETURNED).limit(1)


@dataclass(frozen=True, slots=True)
class GoneHome:
    """A visit all of whose devices have gone: when the last one did, and the tickets that went home repaired."""

    visit_id: str
    since: datetime
    repaired: tuple[str, ...]


def gone_between(unit: Unit, first: datetime, last: datetime) -> tuple[GoneHome, ...]:
    """Visits whose last device was handed back after `first` and not after `last`, something in them repaired.

    None with a device that is with us (again), be it as a warranty return under another ticket.
    """
    newest = func.max(_T.c.phase_since)
    within = (
        select(_T.c.visit_id)
        .where(
            _T.c.shop_id == unit.shop_id, _T.c.phase == Phase.HANDED_BACK, _T.c.phase_since > first,
            _T.c.phase_since <= last, ~_STILL_HERE, ~_RETURNED,
        )
        .distinct()
    )  # fmt: skip
    rows = unit.connection.execute(
        select(_T.c.visit_id, newest.label("since"))
        .where(_T.c.shop_id == unit.shop_id, _T.c.phase == Phase.HANDED_BACK, _T.c.visit_id.in_(within))
        .group_by(_T.c.visit_id)
        .having(newest <= last)
        .order_by(newest, _T.c.visit_id)
    ).all()
    whole = (GoneHome(row.visit_id, row.since, _repaired(unit, row.visit_id)) for row in rows)
    return tuple(one for one in whole if one.repaired)


def _repaired(unit: Unit, visit_id: str) -> tuple[str, ...]:
    query = (
        select(_T.c.id)
        .where(_T.c.shop_id == unit.shop_id, _T.c.visit_id == visit_id, _T.c.phase == Phase.HANDED_BACK,
               _T.c.outcome == "repaired")
        .order_by(_T.c.created_at, _T.c.number)
    )  # fmt: skip
    return tuple(unit.connection.execute(query).scalars())


def came_back(unit: Unit, visit_id: str) -> bool:
    """Whether a device of the visit is with us, or was brought in once more as a warranty return."""
    return unit.connection.execute(_CAME_BACK, given(unit, visit_id=visit_id)).first() is not None

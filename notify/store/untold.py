"""Who was never told that they will soon be forgotten, by which visit they are reached, and that they were told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from sqlalchemy import select, update

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.listed import listed


def never_told(unit: Unit, person_ids: Iterable[str]) -> tuple[str, ...]:
    """Those of them who were not told yet, in their order."""
    p, ids = s.people, list(person_ids)
    query = select(p.c.id).where(p.c.shop_id == unit.shop_id, listed(p.c.id, "people"), p.c.told_at.is_(None))
    found = set(unit.connection.execute(query, {"people": ids}).scalars())
    return tuple(one for one in ids if one in found)


def last_visits(unit: Unit, person_ids: Iterable[str]) -> Mapping[str, str]:
    """person -> the newest visit that they brought something in."""
    v, vp = s.visits, s.visit_people
    query = (
        select(vp.c.person_id, vp.c.visit_id)
        .join(v, (v.c.shop_id == vp.c.shop_id) & (v.c.id == vp.c.visit_id))
        .where(vp.c.shop_id == unit.shop_id, vp.c.person_id.in_(list(person_ids)), vp.c.role == "bringer")
        .order_by(v.c.opened_at)
    )
    return {row.person_id: row.visit_id for row in unit.connection.execute(query)}


def mark_told(unit: Unit, person_ids: Iterable[str], *, at: datetime) -> None:
    """Once ever: they are not told again."""
    p = s.people
    ids = list(person_ids)
    changed = update(p).where(p.c.shop_id == unit.shop_id, p.c.id.in_(ids)).values(told_at=at)
    unit.connection.execute(changed)

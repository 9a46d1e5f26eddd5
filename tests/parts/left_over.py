"""What still stands of people who are forgotten, table by table: reads whole tables, which the program never does."""

from __future__ import annotations

from sqlalchemy import func, or_, select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.erasing import SEALED


def left_over(unit: Unit) -> dict[str, int]:
    """table -> rows of forgotten people in which anything sealed still stands; nothing if all is well."""
    p, found = s.people, {}
    gone = select(p.c.id).where(p.c.shop_id == unit.shop_id, p.c.forgotten_at.is_not(None))
    for table, owner, columns in SEALED:
        names = [table.c[name] for name in columns]
        query = select(func.count()).where(
            table.c.shop_id == unit.shop_id, or_(*(c.is_not(None) for c in names)), table.c[owner].in_(gone)
        )
        if rows := unit.connection.execute(query).scalar_one():
            found[table.name] = rows
    return found

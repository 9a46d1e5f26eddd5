"""How far the machine's clock is believed: one row for the installation; and whether people worked since."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import exists, select, update

from notify.core.clock_trail import Trail
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.unless_there import unless_there

_T = s.clock_trails
_ONLY = 1
_FIRST = unless_there(_T, "id")


def get(unit: Unit) -> Trail | None:
    """The trail as it was left by the last look; None when nobody ever looked."""
    row = unit.connection.execute(select(_T)).first()
    return Trail(row.believed_at, row.leapt_at, timedelta(seconds=row.seen_seconds), row.refuted) if row else None


def put(unit: Unit, trail: Trail) -> None:
    """Keeps the trail; of two workers that begin at once, the later one's look stands."""
    values = {
        "believed_at": trail.believed_at, "leapt_at": trail.leapt_at, "refuted": trail.refuted,
        "seen_seconds": int(trail.seen.total_seconds()),
    }  # fmt: skip
    kept = update(_T).where(_T.c.id == _ONLY).values(**values)
    if not unit.connection.execute(kept).rowcount:
        unit.connection.execute(_FIRST[unit.connection.dialect.name], {"id": _ONLY, **values})
        unit.connection.execute(kept)


def worked_since(unit: Unit, moment: datetime) -> bool:
    """Whether a person did anything in any shop by a clock that showed this time or later."""
    e = s.events
    people = e.c.actor_kind.in_(("staff", "customer"))
    return bool(unit.connection.execute(select(exists().where(e.c.recorded_at >= moment, people))).scalar())

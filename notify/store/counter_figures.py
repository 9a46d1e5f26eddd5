"""What happened at the counter: handovers with the seconds they took, and pickups that ended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import is_in

MOST = 5000  # of each: at sixty handovers a day, the newest twelve weeks


@dataclass(frozen=True, slots=True)
class HandoverDone:
    """One handover; `seconds` from the scan to the press, None where nobody measured it."""

    visit_id: str
    at: datetime
    seconds: int | None


@dataclass(frozen=True, slots=True)
class Ended:
    """One pickup that somebody came to (`kept`), or to which nobody came (`missed`)."""

    visit_id: str
    start_at: datetime
    ended_at: datetime
    state: str


def handovers(unit: Unit, first: datetime, last: datetime) -> tuple[HandoverDone, ...]:
    """The newest handovers within [first, last), the newest first."""
    t = s.events
    these = (t.c.shop_id == unit.shop_id, is_in(t.c.kind, "handover_done"), t.c.at >= first, t.c.at < last)
    query = select(t.c.visit_id, t.c.at, t.c.codes).where(*these).order_by(t.c.at.desc()).limit(MOST)
    return tuple(HandoverDone(row.visit_id, row.at, _seconds(row.codes)) for row in unit.connection.execute(query))


def _seconds(codes: dict[str, str | int]) -> int | None:
    """Only what was measured; a page left open over lunch is no handover."""
    found = str(codes.get("seconds", ""))
    return int(found) if found.isascii() and found.isdigit() and 0 < int(found) < 3600 else None


def ended(unit: Unit, first: datetime, last: datetime) -> tuple[Ended, ...]:
    """The newest pickups that were due within [first, last) and kept or missed, the newest first."""
    t = s.bookings
    these = (
        t.c.shop_id == unit.shop_id, t.c.start_at >= first, t.c.start_at < last, t.c.state.in_(("kept", "missed")),
    )  # fmt: skip
    query = select(t.c.visit_id, t.c.start_at, t.c.changed_at, t.c.state).where(*these)
    rows = unit.connection.execute(query.order_by(t.c.start_at.desc()).limit(MOST))
    return tuple(Ended(row.visit_id, row.start_at, row.changed_at, row.state) for row in rows)

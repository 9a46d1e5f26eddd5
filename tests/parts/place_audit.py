"""Looks into every transaction that gives or takes a place, just before it commits, and into calendars afterwards.

An oracle beside the product: it reads the tables by SQL of its own and shares no rule with the rooms it looks into.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, Engine, event, text

from tests.parts.calendar_mail import Arrived, objects

_LIVE = text("select id, start_at, end_at, local_start from bookings where state = 'booked'")
_SPECIAL = text("select day, opens, closes, capacity, as_usual from special_days")
_HOURS = text("select weekday, opens, closes, capacity, valid_from from hours")
_BOOKINGS = text(
    "select uid, state, revision, start_at, end_at, exists (select * from tickets t "
    "where t.visit_id = bookings.visit_id and t.phase = 'on_shelf') as here from bookings order by made_at"
)
Place = tuple[datetime, datetime, datetime]  # from, until, shop-local wall time


@dataclass
class Audit:
    """What was seen: commits that touched places, and each one that gave a place which was not there."""

    commits: int = 0
    overbooked: list[str] = field(default_factory=list)
    _before: dict[str, Place] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def look(self, connection: Connection) -> None:
        """Whoever is new in a place, or in another one than before, must find room in it."""
        now = live(connection)
        with self._lock:
            fresh = [one for one, place in now.items() if self._before.get(one) != place]
            self.commits += 1
            self._before = now
        for one in fresh:
            start, end, local = now[one]
            there = sum(1 for other in now.values() if other[0] < end and other[1] > start)
            room = room_at(connection, local)
            if there > room:
                self.overbooked.append(f"{local:%a %H:%M}: {there} in {room}")

    def forget(self, engine: Engine) -> None:
        """A new story begins: what stands now was there before."""
        with engine.connect() as connection:
            self._before = live(connection)


def live(connection: Connection) -> dict[str, Place]:
    """booking -> its place, of every booking that stands."""
    return {
        row.id: (moment(row.start_at), moment(row.end_at), datetime.fromisoformat(row.local_start))
        for row in connection.execute(_LIVE)
    }


def room_at(connection: Connection, local: datetime) -> int:
    """How many may be there at that wall time: a closed day before special hours before the newest weekly ones."""
    days = [row for row in connection.execute(_SPECIAL) if as_date(row.day) == local.date() and not row.as_usual]
    if any(row.opens is None for row in days):
        return 0
    of_it = [row for row in connection.execute(_HOURS) if row.weekday == local.weekday()]
    week = [row for row in of_it if as_date(row.valid_from) <= local.date()]
    newest = max((as_date(row.valid_from) for row in week), default=None)
    rows = days or [row for row in week if as_date(row.valid_from) == newest]
    clock = f"{local:%H:%M:%S}"
    return max((row.capacity for row in rows if str(row.opens)[:8] <= clock < str(row.closes)[:8]), default=0)


def moment(value: Any) -> datetime:
    """A kept instant, as either database gives it without the product's own types."""
    found = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)


def as_date(value: Any) -> date:
    """A kept date, likewise."""
    return value if isinstance(value, date) else date.fromisoformat(str(value))


@contextmanager
def auditing(engine: Engine) -> Iterator[Audit]:
    """Every commit that wrote a place is looked into while this lasts."""
    audit, places = Audit(), "touched places"
    audit.forget(engine)

    def note(connection: Any, cursor: Any, sql: str, values: Any, context: Any, many: bool) -> None:
        taken = sql.startswith("INSERT INTO bookings")
        if taken or (sql.startswith("UPDATE bookings") and ("state=" in sql or "seat=" in sql)):
            connection.info[places] = True

    def commit(connection: Any) -> None:
        if connection.info.pop(places, False):
            audit.look(connection)

    def rollback(connection: Any) -> None:
        connection.info.pop(places, None)

    hooks: dict[str, Any] = {"before_cursor_execute": note, "commit": commit, "rollback": rollback}
    for name, hook in hooks.items():
        event.listen(engine, name, hook)
    try:
        yield audit
    finally:
        for name, hook in hooks.items():
            event.remove(engine, name, hook)


def orphans(house: Any) -> list[str]:
    """Bookings whose newest calendar object says something else than they do, once every message has left."""
    with house.ctx.db.engine.connect() as connection:
        rows = connection.execute(_BOOKINGS).all()
    newest = {one.uid: one for one in objects(house) if one.method in ("REQUEST", "CANCEL")}
    lies = [(row, _lie(row, newest.get(row.uid), house.clock())) for row in rows]
    return [f"{row.state} {row.revision}: {said}" for row, said in lies if said]


def _lie(row: Any, said: Arrived | None, now: datetime) -> str:
    """What the calendar says, when it is not so. Of a pickup that was kept or missed nothing takes the entry back."""
    if row.state == "booked":
        right = said is not None and (said.method, said.sequence) == ("REQUEST", row.revision)
        right = right and _utc(said.start) == moment(row.start_at)  # type: ignore[union-attr]
    elif row.state == "cancelled":
        right = said is None or (said.method, said.sequence) == ("CANCEL", row.revision)
    else:  # an entry still to come, and the device still here: somebody will come for a place that is none
        right = said is None or (said.method == "REQUEST" and not (row.here and moment(row.end_at) > now))
    return "" if right else f"{said.method} {said.sequence}" if said else "no object"


def _utc(value: datetime | None) -> datetime | None:
    return value.astimezone(ZoneInfo("UTC")) if value else None

"""Staff, their server-side sessions, and the throttle counters of sign-in and codes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import delete, func, insert, select, update

from notify.core.errors import Conflict, NotFound
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.shops import note_change
from notify.store.statements import where
from notify.store.unless_there import unless_there

# Without the option PostgreSQL's driver counts no row of an INSERT, and says -1 (measured).
_FIRST = {
    kind: first.execution_options(preserve_rowcount=True)
    for kind, first in unless_there(s.throttles, "key", count=1).items()
}
_N, _W, _K = s.sessions, s.staff, s.shown_stamps
_SESSION = (
    select(_W.c.id, _W.c.name, _W.c.role, _W.c.active, _N.c.last_seen_at, _N.c.expires_at,
           func.coalesce(_K.c.stamp, 0).label("shown"))
    .join(_W, (_W.c.shop_id == _N.c.shop_id) & (_W.c.id == _N.c.staff_id))
    .join(_K, _K.c.shop_id == _N.c.shop_id, isouter=True)
    .where(*where(_N, "id"))
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Session:
    """A session with its person, and the stamp of all that the shop's staff may see (shown.py) just now."""

    staff_id: str
    name: str
    role: str
    active: bool
    last_seen_at: datetime
    expires_at: datetime
    shown: int


def find_session(db: Database, shop_id: str, session_hash: str) -> Session | None:
    """Who is behind a session, or None: one SELECT, for every page asks it and an open sheet little else."""
    with db.glance.connect() as connection:
        row = connection.execute(_SESSION, {"the_shop_id": shop_id, "the_id": session_hash}).first()
    return Session(*row) if row else None


def add_staff(unit: Unit, *, name: str, role: str, password_hash: str, pin_hash: str, at: datetime) -> str:
    """Adds a person who works here; raises Conflict when the name is taken."""
    if find_staff(unit, name) is not None:
        raise Conflict(f"{name!r} already works here", "Use another name.", field="name")
    new = unit.new_id()
    unit.connection.execute(
        insert(s.staff).values(
            shop_id=unit.shop_id,
            id=new,
            name=name,
            role=role,
            password_hash=password_hash,
            pin_hash=pin_hash,
            active=True,
            at_bench=role in ("technician", "owner"),  # until somebody says otherwise
            created_at=at,
        )
    )
    note_change(unit)
    return new


def find_staff(unit: Unit, name: str) -> Any:
    """The row of the person of that name (id, name, role, password_hash, pin_hash, active), or None."""
    t = s.staff
    return unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.name == name)).first()


def get_staff(unit: Unit, staff_id: str) -> Any:
    """The row of a person who works here; raises NotFound."""
    t = s.staff
    row = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.id == staff_id)).first()
    if row is None:
        raise NotFound("Nobody of that identifier works here", "Look at the list of staff.")
    return row


def list_staff(unit: Unit) -> tuple[Any, ...]:
    """Everybody who works or worked here, by name."""
    t = s.staff
    return tuple(unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id).order_by(t.c.name)))


def change_staff(unit: Unit, staff_id: str, **columns: Any) -> None:
    """Changes role, hashes, or whether somebody is active or at the bench."""
    t = s.staff
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == staff_id).values(**columns))
    if columns.keys() & {"active", "at_bench"}:
        note_change(unit)


def add_session(unit: Unit, *, session_hash: str, staff_id: str, at: datetime, expires_at: datetime) -> None:
    """Starts a session; the browser holds the secret, the table only its hash."""
    unit.connection.execute(
        insert(s.sessions).values(
            shop_id=unit.shop_id,
            id=session_hash,
            staff_id=staff_id,
            created_at=at,
            last_seen_at=at,
            expires_at=expires_at,
        )
    )


def touch_session(unit: Unit, session_hash: str, *, at: datetime) -> None:
    """Notes that the session is in use."""
    t = s.sessions
    unit.connection.execute(
        update(t).where(t.c.shop_id == unit.shop_id, t.c.id == session_hash).values(last_seen_at=at)
    )


def end_session(unit: Unit, session_hash: str) -> None:
    """Ends one session on the server."""
    t = s.sessions
    unit.connection.execute(delete(t).where(t.c.shop_id == unit.shop_id, t.c.id == session_hash))


def end_sessions_of(unit: Unit, staff_id: str) -> int:
    """Ends every session of one person; how many."""
    t = s.sessions
    return unit.connection.execute(delete(t).where(t.c.shop_id == unit.shop_id, t.c.staff_id == staff_id)).rowcount


def count_try(unit: Unit, key: str, *, at: datetime, window: timedelta) -> int:
    """Counts one try under `key` (a keyed hash) in a window of time; the count so far, this one included.

    Writers of two shops may count the same key at once; neither is refused, and no try is lost.
    """
    t = s.throttles
    found = select(t.c["count"], t.c.window_from).where(t.c.key == key)
    row = unit.connection.execute(found).first()
    if row is None:
        if unit.connection.execute(_FIRST[unit.connection.dialect.name], {"key": key, "window_from": at}).rowcount:
            return 1
        row = unit.connection.execute(found).one()
    before, window_from = row
    fresh = window_from + window <= at or window_from > at
    values = {"count": 1, "window_from": at} if fresh else {"count": t.c["count"] + 1}
    unit.connection.execute(update(t).where(t.c.key == key).values(**values))
    return 1 if fresh else int(before) + 1


def tries(unit: Unit, key: str) -> tuple[int, datetime | None]:
    """The tries counted under `key`, and when their window began; (0, None) when there are none."""
    t = s.throttles
    row = unit.connection.execute(select(t.c["count"], t.c.window_from).where(t.c.key == key)).first()
    return (int(row[0]), row[1]) if row else (0, None)


def purge_tries(unit: Unit, *, before: datetime) -> int:
    """Forgets every count whose window began before this instant; how many. No window is longer than a day."""
    return unit.connection.execute(delete(s.throttles).where(s.throttles.c.window_from < before)).rowcount


def clear_tries(unit: Unit, key: str) -> None:
    """Forgets the tries under `key`."""
    unit.connection.execute(delete(s.throttles).where(s.throttles.c.key == key))

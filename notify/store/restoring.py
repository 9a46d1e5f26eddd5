"""What a restored database is asked and told before it may serve: who has no key, what must not leave."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import delete, func, or_, select, update

from notify.core.long_past import RESTORED as REASON
from notify.core.messages import MessageState
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.erasing import SEALED
from notify.store.job_runs import last_run, note
from notify.store.listed import listed

RESTORED, RESTORED_FROM = "restored", "restored_from"  # rows of job_runs
_OF_STRANGERS = (s.replies, s.doubts)  # sealed for whoever wrote, or for a day: not always for a person


def mark_restored(db: Database, *, at: datetime, made_at: datetime) -> None:
    """Writes down that this is a backup of `made_at`, in use again since `at`."""
    note(db, RESTORED_FROM, at=made_at)
    note(db, RESTORED, at=at)


def restored(db: Database) -> tuple[datetime, datetime]:
    """Since when this database is in use again, and of when the backup was; NEVER (job_runs) for one that is not."""
    return last_run(db, RESTORED), last_run(db, RESTORED_FROM)


def restored_at(unit: Unit) -> datetime | None:
    """The same instant inside a transaction. Remembered by the process: a restore needs all of them stopped."""
    key = (RESTORED, "")
    if key not in unit.kept:
        t = s.job_runs
        unit.kept[key] = ("", unit.connection.execute(select(t.c.ran_at).where(t.c.name == RESTORED)).scalar())
    found: datetime | None = unit.kept[key][1]
    return found


def people_here(unit: Unit) -> frozenset[str]:
    """Everybody who is not forgotten."""
    t = s.people
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.forgotten_at.is_(None))
    return frozenset(unit.connection.execute(query).scalars())


def customers_among(db: Database, shop_ids: Iterable[str], names: Iterable[str]) -> frozenset[str]:
    """Those of these identifiers that are people of any of the shops, forgotten or not."""
    found, whole = set[str](), {"people": list(names)}
    for shop_id in shop_ids:
        with db.read(shop_id) as unit:
            query = select(s.people.c.id).where(s.people.c.shop_id == shop_id, listed(s.people.c.id, "people"))
            found |= set(unit.connection.execute(query, whole).scalars())
    return frozenset(found)


def others_here(unit: Unit) -> frozenset[str]:
    """The keys under which letters of strangers and rows of sources are sealed, those of people left out."""
    known = select(s.people.c.id).where(s.people.c.shop_id == unit.shop_id)
    found: set[str] = set()
    for table, owner, columns in SEALED:
        if table in _OF_STRANGERS:
            there = or_(*(table.c[name].is_not(None) for name in columns))
            query = select(table.c[owner]).where(
                table.c.shop_id == unit.shop_id, there, table.c[owner].not_in(known)
            )  # fmt: skip
            found |= set(unit.connection.execute(query.distinct()).scalars())
    return frozenset(found)


def empty_others(unit: Unit, names: Iterable[str]) -> int:
    """Empties what is sealed under keys that are gone and belong to no person; how many rows."""
    whole, done = {"keys": list(names)}, 0
    for table, owner, columns in SEALED:
        if table in _OF_STRANGERS:
            theirs = (table.c.shop_id == unit.shop_id, listed(table.c[owner], "keys"))
            change = update(table).where(*theirs).values(dict.fromkeys(columns))
            done += unit.connection.execute(change, whole).rowcount
    return done


def drop_waiting(unit: Unit, *, now: datetime, since: datetime) -> int:
    """Drops messages that may have left after the backup was made, or that were caught up on since; how many.

    Those whose time is still to come stay: nothing can have sent them. Calls stay as well, as people make them.
    """
    t = s.messages
    may_have_left = or_(t.c.due_at <= now, t.c.attempts > 0, t.c.lease_until.is_not(None), t.c.created_at >= since)
    return unit.connection.execute(
        update(t)
        .where(t.c.shop_id == unit.shop_id, t.c.state == MessageState.WAITING, t.c.channel != "call", may_have_left)
        .values(state=MessageState.DROPPED, reason=REASON, ended_at=now, lease_by=None, lease_until=None)
    ).rowcount


def dropped(unit: Unit, since: datetime) -> int:
    """How many messages were dropped so since that instant."""
    t = s.messages
    which = (
        t.c.shop_id == unit.shop_id,
        t.c.state == MessageState.DROPPED,
        t.c.reason == REASON,
        t.c.ended_at >= since,
    )
    return int(unit.connection.execute(select(func.count()).select_from(t).where(*which)).scalar_one())


def end_sessions(unit: Unit) -> int:
    """Signs everybody out: somebody may have been signed out since, or have left; how many."""
    return unit.connection.execute(delete(s.sessions).where(s.sessions.c.shop_id == unit.shop_id)).rowcount


def newest_event(db: Database, shop_ids: Iterable[str]) -> datetime | None:
    """When the newest event of any shop was written down: about the moment of a backup that does not say its own."""
    found = []
    for shop_id in shop_ids:
        with db.read(shop_id) as unit:
            query = select(func.max(s.events.c.recorded_at)).where(s.events.c.shop_id == unit.shop_id)
            found.append(unit.connection.execute(query).scalar())
    return max((at for at in found if at is not None), default=None)

"""Leases of timed jobs: one row per job says when it last ran and who is at it, so that it never runs twice."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from notify.store import schema as s
from notify.store.database import Database

# A time further ahead than this was written by a clock that was wrong, not by another machine's small difference.
CLOCK_TOLERANCE = timedelta(minutes=5)
NEVER = datetime(1970, 1, 1, tzinfo=UTC)
_NO_SHOP = "-"  # jobs belong to the installation


@dataclass(frozen=True, slots=True)
class Lease:
    """A claimed run. `before` is when the job ran last, NEVER for the first time."""

    name: str
    by: str
    before: datetime


def last_run(db: Database, name: str) -> datetime:
    """When the job ran last; NEVER when it did not."""
    t = s.job_runs
    with db.read(_NO_SHOP) as unit:
        found = unit.connection.execute(select(t.c.ran_at).where(t.c.name == name)).scalar()
    return found or NEVER


def note(db: Database, name: str, *, at: datetime) -> None:
    """Writes down that something happened then which nobody leases: a backup, a restore."""
    _make_row(db, name)
    with db.write_beside(_NO_SHOP) as unit:
        unit.connection.execute(update(s.job_runs).where(s.job_runs.c.name == name).values(ran_at=at))


def claim(db: Database, name: str, *, due: datetime, now: datetime, until: datetime, by: str) -> Lease | None:
    """Takes the run that was due at `due`, until the lease ends; None when it was done or somebody is at it.

    Looking and taking are one statement, so of any number of processes exactly one gets it. Times from the
    future (the clock has been set back since) do not block the job.
    """
    t = s.job_runs
    far = now + CLOCK_TOLERANCE
    take = (
        update(t)
        .where(
            t.c.name == name,
            or_(t.c.ran_at < due, t.c.ran_at > far),
            or_(t.c.lease_until.is_(None), t.c.lease_until <= now, t.c.lease_until > until + CLOCK_TOLERANCE),
        )
        .values(lease_by=by, lease_until=until)
        .returning(t.c.ran_at)
    )
    _make_row(db, name)
    with db.write_beside(_NO_SHOP) as unit:
        before = unit.connection.execute(take).scalar()
    return Lease(name, by, before) if before is not None else None


def _make_row(db: Database, name: str) -> None:
    t = s.job_runs
    with db.read(_NO_SHOP) as unit:
        if unit.connection.execute(select(t.c.name).where(t.c.name == name)).first():
            return
    try:
        with db.write_beside(_NO_SHOP) as unit:
            unit.connection.execute(insert(t).values(name=name, ran_at=NEVER))
    except IntegrityError:
        pass  # another process was faster, and the row is there


def finish(db: Database, lease: Lease, *, at: datetime) -> None:
    """Notes that the claimed run is done; nothing if somebody else has taken it over since."""
    _end(db, lease, ran_at=at, lease_by=None, lease_until=None)


def fail(db: Database, lease: Lease, *, again_at: datetime) -> None:
    """Notes that the claimed run failed: it is still due, but not before `again_at`."""
    _end(db, lease, lease_until=again_at)


def _end(db: Database, lease: Lease, **columns: datetime | None) -> None:
    t = s.job_runs
    with db.write_beside(_NO_SHOP) as unit:
        unit.connection.execute(update(t).where(t.c.name == lease.name, t.c.lease_by == lease.by).values(**columns))


def release_all(db: Database) -> None:
    """Ends every lease. Only for a process that knows it is the only one: its forerunner was killed."""
    t = s.job_runs
    with db.write_beside(_NO_SHOP) as unit:
        unit.connection.execute(update(t).values(lease_by=None, lease_until=None))

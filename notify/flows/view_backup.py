"""How backups are doing, from this installation's own notes: no folder is looked into, for its disk may not answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.flows.backup import FAILED, GOOD
from notify.flows.context import Context
from notify.store import job_runs, restoring
from notify.store.job_runs import NEVER

LATE = timedelta(hours=26)  # a night and two hours
TOLD_FOR = timedelta(days=7)  # how long the day sheet speaks of a restore (common practice, no source)


@dataclass(frozen=True, slots=True)
class Backups:
    """`good_at` is when the last good one was made, `failed_at` when the last try failed; NEVER (1970) for none.

    `restored_at` is when this database was brought back, within the last days, from the backup of `restored_from`;
    `dropped` are the shop's messages that may have left before and were not sent again.
    """

    good_at: datetime
    failed_at: datetime
    late: bool
    restored_at: datetime | None = None
    restored_from: datetime | None = None
    dropped: int = 0

    @property
    def failed(self) -> bool:
        """Whether the newest try gave no backup."""
        return self.failed_at > self.good_at

    @property
    def never(self) -> bool:
        """Whether there has been none at all."""
        return self.good_at == NEVER


def view(ctx: Context, shop_id: str = "") -> Backups:
    """How they are doing; with a shop also what its staff are told of a restore."""
    now, db = ctx.clock(), ctx.db
    good, failed = job_runs.last_run(db, GOOD), job_runs.last_run(db, FAILED)
    at, made_at = restoring.restored(db)
    if not shop_id or not at <= now < at + TOLD_FOR:
        return Backups(good, failed, late=now - good > LATE)
    with db.read(shop_id) as unit:
        number = restoring.dropped(unit, at - timedelta(hours=1))
    return Backups(good, failed, now - good > LATE, at, made_at, number)

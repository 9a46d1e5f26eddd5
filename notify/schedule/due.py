"""Runs what is due, once in all processes together, whatever one of the jobs does."""

from __future__ import annotations

import logging
import traceback
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from notify.core.errors import Unavailable
from notify.schedule.jobs import Job, Run
from notify.schedule.when import Nightly, last_due
from notify.store import job_runs
from notify.wiring import Services

LEASE = timedelta(minutes=10)
AGAIN = timedelta(minutes=1)  # after a failure
log = logging.getLogger("shelfbell.schedule")


@dataclass(slots=True)
class DueJobs:
    """The jobs of one process. `by` names it in leases. What it remembers only spares looks at the database."""

    services: Services
    jobs: Sequence[Job]
    by: str
    _seen: dict[str, datetime] = field(default_factory=dict)

    def run_due(self) -> int:
        """Runs every job that is due and that no other process has; how many it ran."""
        clock = self.services.context.clock
        return sum(self._survive(job, shop_id, clock()) for job, shop_id in self._lines())

    def _survive(self, job: Job, shop_id: str, now: datetime) -> bool:
        """A fault in one job, or in taking its lease, must not keep the others from running."""
        try:
            return self._run_if_due(job, shop_id, now)
        except Exception as error:
            log.error("the job %s could not be run: %s", job.name, where(error))
            return False

    def _lines(self) -> list[tuple[Job, str]]:
        shops = self.services.shop_ids()
        return [(job, shop_id) for job in self.jobs for shop_id in (shops if job.per_shop else ("",))]

    def _run_if_due(self, job: Job, shop_id: str, now: datetime) -> bool:
        name = f"{job.name}:{shop_id}" if shop_id else job.name
        zone = self._zone(shop_id) if isinstance(job.when, Nightly) else "UTC"
        due = last_due(job.when, now, zone_name=zone, nightly_at=self.services.settings.forget.nightly_at)
        if self._seen.get(name) == due:
            return False
        if not job.leased:
            self._seen[name] = due
            job.flow(Run(self.services, shop_id, now, job_runs.NEVER))
            return True
        lease = job_runs.claim(
            self.services.context.db, name, due=due, now=now, until=now + LEASE, by=self.by
        )  # fmt: skip
        if lease is None:
            # Done or in hand elsewhere. In hand may still fail: look again until it is noted as done.
            if due <= job_runs.last_run(self.services.context.db, name) <= now + job_runs.CLOCK_TOLERANCE:
                self._seen[name] = due
            return False
        if self._run(job, lease, shop_id, now):
            self._seen[name] = due
        return True

    def _run(self, job: Job, lease: job_runs.Lease, shop_id: str, now: datetime) -> bool:
        db = self.services.context.db
        try:
            job.flow(Run(self.services, shop_id, now, lease.before))
        except Exception as error:
            log.error("the job %s failed and will be tried again: %s", job.name, where(error))
            job_runs.fail(db, lease, again_at=now + AGAIN)
            return False
        job_runs.finish(db, lease, at=now)
        return True

    def _zone(self, shop_id: str) -> str:
        if not shop_id:
            return "UTC"
        context = self.services.context
        with context.db.read(shop_id) as unit:
            return context.shop(unit).zone


def where(error: BaseException) -> str:
    """What kind of fault it is and in which line: never its words, which may hold somebody's data (ours do not)."""
    frames = traceback.extract_tb(error.__traceback__)
    place = (
        f" in {frames[-1].name}, line {frames[-1].lineno} of {frames[-1].filename.rpartition('/')[2]}" if frames else ""
    )
    said = f" ({error.what})" if isinstance(error, Unavailable) else ""
    return f"{type(error).__name__}{said}{place}"

"""Keeps the dispatcher and the timed jobs going in the background; the only place that knows APScheduler."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence

from apscheduler.schedulers.background import BackgroundScheduler

from notify.schedule.due import DueJobs, where
from notify.schedule.jobs import JOBS, Job
from notify.schedule.when import Every
from notify.store.wake import Ear
from notify.wiring import Services

DISPATCH_SECONDS, JOBS_SECONDS = 1, 5
WATCH_SECONDS, SILENCE_SECONDS = 5.0, 30.0
log = logging.getLogger("shelfbell.schedule")


class _Worker:
    """A thread that does one round of work each time it is woken, and survives whatever the work does."""

    def __init__(self, name: str, work: Callable[[], object], stopping: threading.Event) -> None:
        self._work, self._stopping, self._awake = work, stopping, threading.Event()
        # A daemon: a mail server that does not answer must not keep a stopped process alive. The lease tells later.
        self._thread = threading.Thread(target=self._loop, name=f"shelfbell-{name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wake(self) -> None:
        self._awake.set()

    def join(self, seconds: float) -> bool:
        self._awake.set()
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def _loop(self) -> None:
        while not self._stopping.is_set():
            self._awake.wait()
            self._awake.clear()
            if self._stopping.is_set():
                return
            try:
                self._work()
            except Exception as error:
                log.error("the background work failed and goes on: %s", where(error))


class Runner:
    """`start` once, `stop` once. Its workers are woken by a ticker, the dispatcher also by every commit."""

    def __init__(self, services: Services, *, by: str, jobs: Sequence[Job] = JOBS) -> None:
        self._services = services
        self._stopping = threading.Event()
        quick = [one for one in jobs if not one.slow]
        self._dispatch = _Worker("dispatcher", self._deliver, self._stopping)
        self._jobs = _Worker("jobs", DueJobs(services, quick, by).run_due, self._stopping)
        # Somebody else's server may take its time: neither the clock's own jobs nor the journal may wait for it, nor
        # one such server for another.
        self._slow = [
            _Worker(one.name, DueJobs(services, [one], by).run_due, self._stopping) for one in jobs if one.slow
        ]
        # Those that are due oftener than the others are looked for.
        self._brisk = [worker for worker, one in zip(self._slow, (one for one in jobs if one.slow), strict=True)
                       if isinstance(one.when, Every) and one.when.seconds < JOBS_SECONDS]  # fmt: skip
        # Other processes add messages as well; on SQLite there is none, and each commit wakes the dispatcher.
        db = services.context.db
        self._ear = None if db.is_sqlite else Ear(db, self._dispatch.wake)
        self._watch = threading.Thread(target=self._watch_over, name="shelfbell-watchdog", daemon=True)
        self._ticker: BackgroundScheduler | None = None
        self._ticked_at = time.monotonic()

    def start(self) -> None:
        """Starts the threads; the first round of both begins at once."""
        self._services.context.db.after_write = self._dispatch.wake
        self._dispatch.start()
        self._jobs.start()
        for slow in self._slow:
            slow.start()
        self._start_ticker()
        self._dispatch.wake()
        self._wake_jobs()
        self._watch.start()
        if self._ear is not None:
            self._ear.start()

    def stop(self, *, seconds: float = 2.0) -> bool:
        """Ends everything, the group in hand first; False when it took longer than `seconds` and was left."""
        self._services.context.db.after_write = _nothing
        self._stopping.set()
        self._stop_ticker()
        until = time.monotonic() + seconds
        workers = (self._dispatch, self._jobs, *self._slow)
        ended = [worker.join(max(0.0, until - time.monotonic())) for worker in workers]
        if self._ear is not None:
            ended.append(self._ear.stop(seconds=max(0.0, until - time.monotonic())))
        return all(ended)

    def _deliver(self) -> None:
        for shop_id in self._services.shop_ids():
            while self._goes_on() and self._services.dispatcher.run_once(shop_id, go_on=self._goes_on):
                pass

    def _goes_on(self) -> bool:
        return not self._stopping.is_set()

    def _start_ticker(self) -> None:
        ticker = BackgroundScheduler(timezone="UTC", daemon=True, job_defaults={"coalesce": True, "max_instances": 1})
        ticker.add_job(self._tick, "interval", seconds=DISPATCH_SECONDS, misfire_grace_time=None)
        ticker.add_job(self._wake_jobs, "interval", seconds=JOBS_SECONDS, misfire_grace_time=None)
        ticker.start()
        self._ticker, self._ticked_at = ticker, time.monotonic()

    def _wake_jobs(self) -> None:
        self._jobs.wake()
        for slow in self._slow:
            slow.wake()

    def _tick(self) -> None:
        self._ticked_at = time.monotonic()
        self._dispatch.wake()
        for brisk in self._brisk:
            brisk.wake()

    def _stop_ticker(self) -> None:
        if self._ticker is not None and self._ticker.running:
            self._ticker.shutdown(wait=False)

    def _watch_over(self) -> None:
        """A ticker that went silent is started anew: its thread may die while the process lives on."""
        while not self._stopping.wait(WATCH_SECONDS):
            if time.monotonic() - self._ticked_at > SILENCE_SECONDS:
                log.error("the ticker went silent and is started anew")
                self._stop_ticker()
                self._start_ticker()


def _nothing() -> None:
    """What a commit causes when nobody waits for it."""

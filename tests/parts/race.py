"""A process that runs a hundred due jobs as fast as it can, and a fork of it; a test starts two at once.

`python -m tests.parts.race CONFIG DIARY GO fork|alone`
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

from notify.config.load import load
from notify.schedule.due import DueJobs
from notify.schedule.jobs import Job, Run
from notify.schedule.when import Every
from notify.wiring import build

JOBS = 100
DAY = 86_400


def race(config: Path, diary: Path, go: Path) -> None:
    """Runs whatever is due until nothing has been for a second; each run is a line in the diary."""
    services = build(load(config))
    due = DueJobs(services, [Job(f"job-{n}", Every(DAY), _note(diary, n), per_shop=False) for n in range(JOBS)], _me())
    Path(f"{go}-{_me()}").touch()
    while not go.exists():
        time.sleep(0.001)
    last = time.monotonic()
    while time.monotonic() - last < 1:
        if due.run_due():
            last = time.monotonic()
    services.close()


def _note(diary: Path, number: int) -> Callable[[Run], object]:
    def note(_run: Run) -> None:
        with diary.open("a") as book:  # one short line is one write, and appending keeps the writers apart
            book.write(f"{number} {_me()}\n")
        time.sleep(0.005)  # work takes a moment, in which the others come to the same job

    return note


def _me() -> str:
    return str(os.getpid())


if __name__ == "__main__":
    child = os.fork() if sys.argv[4] == "fork" else None
    race(*(Path(name) for name in sys.argv[1:4]))
    if child:
        os.waitpid(child, 0)

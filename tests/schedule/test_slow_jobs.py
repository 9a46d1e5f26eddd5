"""A source, or another server, that never answers holds up nothing but itself."""

from __future__ import annotations

import threading

from notify.schedule.jobs import Job, Run
from notify.schedule.runner import Runner
from notify.schedule.when import Every
from tests.parts.house import House


def test_a_source_that_hangs_holds_up_no_other_source_and_none_of_the_clocks_jobs(house: House) -> None:
    stuck, leave, done = threading.Event(), threading.Event(), {name: threading.Event() for name in ("other", "quick")}

    def hang(_: Run) -> None:
        stuck.set()
        leave.wait(60)

    def job(name: str, *, slow: bool) -> Job:
        return Job(name, Every(1), lambda run: done[name].set(), per_shop=False, leased=False, slow=slow)

    hangs = Job("hangs", Every(1), hang, per_shop=False, leased=False, slow=True)
    runner = Runner(house.services, by="test", jobs=(hangs, job("other", slow=True), job("quick", slow=False)))
    runner.start()
    try:
        assert stuck.wait(30)
        assert all(one.wait(30) for one in done.values()), "they waited for the one that hangs"
    finally:
        leave.set()
        runner.stop()

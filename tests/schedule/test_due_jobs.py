"""Timed jobs: each due run once, in however many processes; faults logged without data; no purge by a jump."""

from __future__ import annotations

import logging
from datetime import timedelta
from typing import Any

import pytest

from notify.flows import handover, moves
from notify.schedule.due import DueJobs
from notify.schedule.jobs import CHECKPOINT, JOBS, Job, Run
from notify.schedule.when import Every
from notify.store import job_runs, messages, people, visits

DAY = timedelta(days=1).total_seconds()


class Counted:
    """A flow that counts its runs."""

    def __init__(self) -> None:
        self.runs: list[Run] = []

    def __call__(self, run: Run) -> None:
        self.runs.append(run)


def test_two_schedulers_run_a_due_job_once_between_them(house: Any) -> None:
    flow = Counted()
    both = [DueJobs(house.services, [Job("tidy", Every(60), flow)], name) for name in ("one", "two")]
    for _ in range(5):
        for one in both:
            one.run_due()
        house.clock.advance(60)
    assert len(flow.runs) == 5


def test_a_day_and_two_hours_of_downtime_make_one_run_and_one_reminder(house: Any) -> None:
    done = house.check_in()
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    due = DueJobs(house.services, JOBS, "one")
    due.run_due()
    house.clock.advance(3 * DAY + 26 * 3600)  # the first reminder came due while nobody was up
    assert due.run_due() == len(JOBS)
    assert due.run_due() == 0
    with house.read() as unit:
        planned = [m for m in messages.messages_of_visit(unit, done.visit_id) if m.notice == "collection_reminder"]
    assert len(planned) == 1


def test_a_job_that_fails_is_logged_without_its_words_and_tried_again(house: Any, caplog: Any) -> None:
    tries: list[Run] = []

    def fail_once(run: Run) -> None:
        tries.append(run)
        if len(tries) == 1:
            raise ValueError("customer ines@example.org, +44 7700 900123")

    after = Counted()
    due = DueJobs(house.services, [Job("shaky", Every(3600), fail_once), Job("next", Every(3600), after)], "one")
    with caplog.at_level(logging.ERROR):
        due.run_due()
    assert "ValueError in fail_once" in caplog.text
    assert "ines" not in caplog.text and "7700" not in caplog.text
    assert len(after.runs) == len(house.services.shop_ids()), "one job's fault must not keep the next from running"
    due.run_due()
    assert len(tries) == 1, "not at once"
    house.clock.advance(61)
    due.run_due()
    assert len(tries) == 2


def test_a_lease_of_a_dead_process_ends_and_another_one_takes_the_run(house: Any) -> None:
    db, now = house.ctx.db, house.clock()
    claim = {"due": now, "now": now, "until": now + timedelta(minutes=10)}
    assert job_runs.claim(db, "job", by="dead", **claim)
    assert job_runs.claim(db, "job", by="alive", **claim) is None
    later = now + timedelta(minutes=10, seconds=1)
    lease = job_runs.claim(db, "job", due=now, now=later, until=later + timedelta(minutes=10), by="alive")
    assert lease is not None
    job_runs.finish(db, lease, at=later)
    assert job_runs.claim(db, "job", due=now, now=later, until=later + timedelta(minutes=10), by="third") is None


def test_a_clock_that_was_set_back_does_not_stop_a_job(house: Any) -> None:
    flow = Counted()
    due = DueJobs(house.services, [Job("tidy", Every(60), flow)], "one")
    house.clock.advance(400 * DAY)
    due.run_due()
    house.clock.advance(-400 * DAY)
    due.run_due()
    assert len(flow.runs) == 2


def _handed_back_and_paid(house: Any) -> str:
    done = house.check_in()
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=done.ticket_ids, checked="knows the fault")
    return str(done.visit_id)


def _name(house: Any, visit_id: str) -> str:
    with house.read() as unit:
        return people.get_person(unit, visits.visit_people(unit, visit_id)["bringer"][0]).name


def test_people_are_forgotten_at_night_when_their_time_is_over_and_not_before(house: Any) -> None:
    visit = _handed_back_and_paid(house)
    due = DueJobs(house.services, [job for job in JOBS if job.name == "forget"], "one")
    for _ in range(90):
        due.run_due()
        assert _name(house, visit) == "Ines Farrow"
        house.clock.advance(DAY)
    house.clock.advance(DAY)
    due.run_due()
    assert _name(house, visit) == ""


@pytest.mark.parametrize("jump", [200, 3650])
def test_a_clock_that_jumps_ahead_forgets_nobody_that_night(house: Any, jump: int, caplog: Any) -> None:
    visit = _handed_back_and_paid(house)
    due = DueJobs(house.services, [job for job in JOBS if job.name in ("clock", "forget")], "one")
    due.run_due()
    house.clock.advance(DAY)
    due.run_due()
    house.clock.advance(jump * DAY)
    due.run_due()
    assert "clock has leapt while the machine was running" in caplog.text  # its own count did not move
    for _ in range(5):  # and it is not believed by and by
        house.clock.advance(DAY)
        due.run_due()
    house.clock.advance(-5 * DAY)
    assert _name(house, visit) == "Ines Farrow"
    house.clock.advance(-jump * DAY)  # somebody sets it right
    due.run_due()
    house.clock.advance(DAY)
    due.run_due()
    assert _name(house, visit) == "Ines Farrow"


def test_the_checkpoint_leaves_no_row_and_no_transaction_behind(house: Any) -> None:
    due = DueJobs(house.services, [CHECKPOINT], "one")
    assert due.run_due() == 1
    assert due.run_due() == 0
    assert job_runs.last_run(house.ctx.db, "checkpoint") == job_runs.NEVER


def test_every_job_has_a_name_that_fits_its_column_with_a_shop_behind_it() -> None:
    assert all(len(job.name) + 1 + 36 <= 60 for job in JOBS)
    assert len({job.name for job in JOBS}) == len(JOBS)

"""Writes that wait are there for whoever reads, gone with what is undone, and the same as if none had waited."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event, func, select

from notify.core.errors import NotFound, Unavailable
from notify.core.events import Event
from notify.store import events, past_jobs, repair_kinds, tickets
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.past_jobs import PastJob
from tests.parts.house import House


class Undone(Exception):
    """Ends a part."""


def append(house: House, unit: Unit, ticket: tickets.Job, code: str) -> None:
    happened = Event(unit.new_id(), "moved_to_bench", house.clock(), ticket.visit_id, ticket.id, codes={"n": code})
    events.append(unit, happened, recorded_at=house.clock())


def codes(unit: Unit, ticket: tickets.Job) -> list[str]:
    story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    return [str(one.codes["n"]) for one in story if "n" in one.codes]


def job_of(house: House, unit: Unit) -> tickets.Job:
    return tickets.get_job(unit, unit.connection.execute(select(s.tickets.c.id)).scalar_one())


@pytest.fixture
def one(house: House) -> House:
    house.check_in()
    return house


def test_what_waits_is_read_as_if_it_had_been_said(one: House) -> None:
    with one.ctx.db.write(one.shop_id) as unit, unit.grouped():
        job = job_of(one, unit)
        append(one, unit, job, "a")
        changed = tickets.change_ticket(unit, job, shelf="B7")
        append(one, unit, changed, "b")
        assert codes(unit, job) == ["a", "b"] and tickets.get_job(unit, job.id) == changed
        append(one, unit, job, "c")
    with one.read() as unit:
        assert codes(unit, job) == ["a", "b", "c"]
        numbers = unit.connection.execute(select(s.events.c.seq).order_by(s.events.c.seq)).scalars().all()
        assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("looks", ["", "before", "inside", "both"])
def test_an_undone_part_leaves_nothing_and_takes_nothing_of_the_others(one: House, looks: str) -> None:
    with one.ctx.db.write(one.shop_id) as unit, unit.grouped():
        job = job_of(one, unit)
        append(one, unit, job, "before")
        if looks in ("before", "both"):
            assert codes(unit, job) == ["before"]
        with pytest.raises(Undone), unit.savepoint():
            append(one, unit, job, "undone")
            tickets.change_ticket(unit, job, shelf="Z9")
            if looks in ("inside", "both"):
                assert codes(unit, job) == ["before", "undone"]
            append(one, unit, job, "undone too")
            raise Undone
        with unit.savepoint():
            append(one, unit, job, "kept")
        append(one, unit, job, "behind")
    with one.read() as unit:
        assert codes(unit, job) == ["before", "kept", "behind"]
        assert unit.connection.execute(select(s.tickets.c.shelf)).scalar_one() != "Z9"


@pytest.mark.parametrize("looks", [False, True])
def test_of_a_part_in_a_part_only_what_was_undone_is_gone(one: House, looks: bool) -> None:
    with one.ctx.db.write(one.shop_id) as unit, unit.grouped():
        job = job_of(one, unit)
        with unit.savepoint():
            append(one, unit, job, "outer")
            with pytest.raises(Undone), unit.savepoint():
                append(one, unit, job, "inner")
                assert not looks or codes(unit, job) == ["outer", "inner"]
                raise Undone
            append(one, unit, job, "outer again")
        with pytest.raises(Undone), unit.savepoint():
            with unit.savepoint():
                append(one, unit, job, "inner kept")
            assert not looks or codes(unit, job)[-1] == "inner kept"
            raise Undone
    with one.read() as unit:
        assert codes(unit, job) == ["outer", "outer again"]


def test_after_an_exception_nothing_that_waited_is_said_nor_waits_in_the_next(one: House) -> None:
    with pytest.raises(Undone), one.ctx.db.write(one.shop_id) as unit, unit.grouped():
        job = job_of(one, unit)
        append(one, unit, job, "lost")
        raise Undone
    with one.ctx.db.write(one.shop_id) as unit:
        append(one, unit, job, "said at once")
        assert codes(unit, job) == ["said at once"]


def test_a_row_that_is_not_as_it_was_read_ends_the_whole_transaction(one: House) -> None:
    with pytest.raises(Unavailable), one.ctx.db.write(one.shop_id) as unit, unit.grouped():
        job = job_of(one, unit)
        append(one, unit, job, "lost")
        tickets.change_ticket(unit, job, shelf="B1")
        tickets.change_ticket(unit, job, shelf="B2")  # of the version that it no longer has
    with one.read() as unit:
        assert codes(unit, job) == [] and job_of_shelf(unit) not in ("B1", "B2")


def job_of_shelf(unit: Unit) -> str:
    return str(unit.connection.execute(select(s.tickets.c.shelf)).scalar_one())


def test_many_are_said_together_and_a_part_in_which_nothing_is_said_costs_nothing(one: House) -> None:
    said: list[tuple[str, bool]] = []

    def hear(_c: Any, _u: Any, statement: str, _v: Any, _x: Any, many: bool) -> None:
        said.append((statement.split("(")[0][:30], many))

    event.listen(one.ctx.db.engine, "before_cursor_execute", hear)
    try:
        with one.ctx.db.write(one.shop_id) as unit, unit.grouped():
            job = job_of(one, unit)
            said.clear()
            for number in range(40):
                with unit.savepoint():
                    append(one, unit, job, str(number))
            with unit.savepoint():
                pass
            assert said == []
    finally:
        event.remove(one.ctx.db.engine, "before_cursor_execute", hear)
    assert [many for statement, many in said if statement.startswith("INSERT INTO events")] == [True]
    assert not any("SAVEPOINT" in statement for statement, _ in said)
    with one.read() as unit:
        assert codes(unit, job) == [str(number) for number in range(40)]


def test_learned_sums_that_wait_come_to_the_same(one: House) -> None:
    with one.ctx.db.write(one.shop_id) as unit, unit.grouped():
        job, kind = job_of(one, unit), repair_kinds.catch_all(unit)
        past_jobs.add_own(unit, job.id, PastJob(kind.id, 30.0, one.clock() - timedelta(hours=1)))
        repair_kinds.add_sums(unit, kind.id, jobs=1, total=1.5, squares=2.25)
        repair_kinds.add_sums(unit, kind.id, jobs=2, total=0.5, squares=0.25)
        assert repair_kinds.catch_all(unit).sums.jobs == kind.learned + 3
    with one.read() as unit:
        after = repair_kinds.catch_all(unit)
        assert (after.learned, after.learned_sum, after.learned_squares) == (kind.learned + 3, 2.0, 2.5)
        assert unit.connection.execute(select(func.count()).select_from(s.past_jobs)).scalar_one() == 1


def test_outside_a_group_a_row_that_is_missing_is_told_at_once(one: House) -> None:
    with one.ctx.db.write(one.shop_id) as unit, pytest.raises(NotFound):
        repair_kinds.add_sums(unit, "none", jobs=1, total=1.0, squares=1.0)

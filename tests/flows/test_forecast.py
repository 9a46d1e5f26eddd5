"""Forecasts follow the facts: what moves them, by how much, and what happens to promises meanwhile.

How far a forecast moves is told by hand: the same work on the same luck (one seed a day) after so many open hours more
or fewer is the same forecast so many open hours later. The shop opens from 9 to 18 from Monday to Saturday.
"""

from __future__ import annotations

import itertools
import multiprocessing
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from sqlalchemy import event, insert, select

from notify import wiring
from notify.core.actors import Actor
from notify.core.ready import Forecast, Without
from notify.flows import at_bench as at_bench_flow
from notify.flows import forecast, moves, parts, promises, questions, set_up, staff, view_day_sheet
from notify.flows.check_in_form import DeviceForm
from notify.store import events, forecasts, messages, schema, shops, tickets
from notify.store import promises as promised
from tests.parts.house import House

WEDNESDAY = datetime(2026, 11, 25, 9, tzinfo=UTC)  # London is on UTC in November
HOUR = timedelta(hours=1)
pytestmark = pytest.mark.long


@pytest.fixture
def shop(house: House) -> House:
    """Open, with one technician and a supplier that brings within a day."""
    house.clock.set(WEDNESDAY)
    at_bench(house)
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Parts", cutoff=time(17), delivers_at=time(9), days=1)
    return house


def at_bench(house: House, name: str = "Odile") -> str:
    return staff.add_staff(house.ctx, house.actor(), name=name, role="technician", password="four kind words", pin="")


def take_in(house: House, promise: str = "", **more: Any) -> str:
    house.clock.advance(1)
    return str(house.check_in(DeviceForm("Kestrel radio", promise=promise, **more)).ticket_ids[0])


def made(house: House, ticket_id: str) -> Forecast:
    """The ticket's forecast, once the clock's job has had its turn."""
    house.clock.advance(3)
    forecast.look(house.ctx, house.system())
    return kept(house)[ticket_id]


def kept(house: House) -> dict[str, Forecast]:
    with house.read() as unit:
        return dict(forecasts.of_tickets(unit))


def warnings(house: House, ticket_id: str) -> list[Any]:
    """The events that say that a promise is in danger."""
    with house.read() as unit:
        visit = tickets.get_ticket(unit, ticket_id).visit_id
        return [one for one in events.story_of(unit, visit_id=visit) if one.kind == "promise_threatened"]


def told(house: House, notice: str = "promise_threatened_shop") -> list[Any]:
    with house.read() as unit:
        return [one for one in messages.list_messages(unit) if one.notice == notice]


def moved(before: Forecast, after: Forecast) -> set[timedelta]:
    """By how much the quantiles moved."""
    assert before.grid and after.grid
    return {late - early for early, late in zip(before.grid, after.grid, strict=True)}


def middle(of: Forecast) -> datetime:
    found = of.at(0.5)
    assert found is not None
    return found


def test_a_part_that_will_be_late_moves_the_forecast_and_warns_the_shop_once(shop: House) -> None:
    ticket_id = take_in(shop, promise="2026-11-26T15:00")
    part = parts.need(shop.ctx, shop.actor(), ticket_id, name="speaker cone")
    assert made(shop, ticket_id).without is Without.NOT_ORDERED
    parts.order(shop.ctx, shop.actor(), part, supplier="Lantern Parts")
    before = made(shop, ticket_id)
    assert before.chance is not None and before.chance > 0.5 and not warnings(shop, ticket_id)
    parts.change_due(shop.ctx, shop.actor(), part, due=date(2026, 11, 27))
    after = made(shop, ticket_id)
    # The same box a day later, and none of its delays runs into another weekend than before.
    assert middle(after) == middle(before) + timedelta(days=1)
    assert after.chance == 0 and after.promise_at and before.promise_at and after.promise_at > before.promise_at
    (warned,) = warnings(shop, ticket_id)
    assert warned.codes["threat"] == "part_late" and warned.codes["expected"] == after.promise_at.isoformat()
    for _ in range(3):  # neither another look, nor a new fact, nor an even later part warns again of the same promise
        shop.clock.advance(700)
        parts.change_due(shop.ctx, shop.actor(), part, due=date(2026, 11, 30))
        made(shop, ticket_id)
    assert len(warnings(shop, ticket_id)) == 1 and len(told(shop)) == 1
    promises.promise(shop.ctx, shop.actor(), ticket_id, datetime(2026, 11, 30, 9, 30, tzinfo=UTC), why="part_late")
    made(shop, ticket_id)
    assert len(warnings(shop, ticket_id)) == 2  # another promise is another matter
    shop.deliver(after=1)
    (first,) = [one for one in told(shop) if one.state == "dropped"]
    assert first.reason == "newer_promise"


def test_the_day_sheet_shows_a_promise_in_danger_until_it_can_be_kept_or_another_one_stands(shop: House) -> None:
    ticket_id = take_in(shop, promise="2026-11-26T15:00")
    part = parts.need(shop.ctx, shop.actor(), ticket_id, name="speaker cone")
    parts.order(shop.ctx, shop.actor(), part, supplier="Lantern Parts")
    made(shop, ticket_id)
    assert not view_day_sheet.view(shop.ctx, shop.actor()).danger
    parts.change_due(shop.ctx, shop.actor(), part, due=date(2026, 11, 27))
    later = made(shop, ticket_id).promise_at
    (one,) = view_day_sheet.view(shop.ctx, shop.actor()).danger
    assert (one.ticket.ticket_id, one.threat, one.hardly, one.expected) == (ticket_id, "part_late", True, later)
    assert later is not None
    promises.promise(shop.ctx, shop.actor(), ticket_id, later, why="part_late")
    made(shop, ticket_id)
    assert not view_day_sheet.view(shop.ctx, shop.actor()).danger


def test_a_promise_whose_time_has_passed_stays_on_the_day_sheet_until_another_one_is_told(shop: House) -> None:
    ticket_id = take_in(shop, promise="2026-11-26T15:00")
    part = parts.need(shop.ctx, shop.actor(), ticket_id, name="speaker cone")
    parts.order(shop.ctx, shop.actor(), part, supplier="Lantern Parts", due=date(2026, 11, 27))
    made(shop, ticket_id)
    shop.clock.set(datetime(2026, 11, 26, 15, 0, 1, tzinfo=UTC))
    later = made(shop, ticket_id).promise_at
    (one,) = view_day_sheet.view(shop.ctx, shop.actor()).danger
    assert (one.ticket.ticket_id, one.threat, one.expected) == (ticket_id, None, later) and later is not None
    asked = questions.ask(shop.ctx, shop.actor(), ticket_id, kind="price", wording="dearer", price="40")
    made(shop, ticket_id)
    assert not view_day_sheet.view(shop.ctx, shop.actor()).danger  # its clock stands still
    questions.withdraw(shop.ctx, shop.actor(), asked)
    made(shop, ticket_id)
    assert view_day_sheet.view(shop.ctx, shop.actor()).danger
    promises.promise(shop.ctx, shop.actor(), ticket_id, later, why="part_late")
    made(shop, ticket_id)
    assert not view_day_sheet.view(shop.ctx, shop.actor()).danger


def test_while_the_customer_has_to_answer_the_clock_of_the_forecast_stands_still(shop: House) -> None:
    ticket_id = take_in(shop, promise="2026-11-25T12:00")
    before = made(shop, ticket_id)
    question = questions.ask(shop.ctx, shop.actor(), ticket_id, kind="price", wording="More. Go on?", price="45")
    asked = made(shop, ticket_id)
    assert asked.without is Without.QUESTION and not asked.grid and asked.promise_at is None
    shop.clock.advance(2 * 3600)
    assert made(shop, ticket_id).without is Without.QUESTION and not warnings(shop, ticket_id)
    questions.answer(shop.ctx, shop.actor(), question, answer="accept", said_by="Ines, by phone")
    after = made(shop, ticket_id)
    (by,) = moved(before, after)
    assert by == after.made_at - before.made_at >= 2 * HOUR


def test_a_day_that_is_closed_an_absence_and_fewer_hands_make_it_later(shop: House) -> None:
    shop.clock.set(WEDNESDAY + 9 * HOUR)  # it has just closed
    ticket_id = take_in(shop)
    open_thursday = made(shop, ticket_id)
    closed = set_up.add_special_day(shop.ctx, shop.actor(), date(2026, 11, 26), reason="stocktaking")
    assert moved(open_thursday, made(shop, ticket_id)) == {timedelta(days=1)}
    set_up.drop_special_day(shop.ctx, shop.actor(), closed)
    assert made(shop, ticket_id).grid == open_thursday.grid
    odile = the_technician(shop)
    at_bench_flow.note_away(shop.ctx, shop.actor(), odile, "2026-11-25", "2026-11-26T12:00")
    assert moved(open_thursday, made(shop, ticket_id)) == {3 * HOUR}
    staff.change_staff(shop.ctx, shop.actor(), odile, active=False)
    assert made(shop, ticket_id).without is Without.NOBODY


def the_technician(house: House) -> str:
    with house.read() as unit:
        return str(unit.connection.execute(select(schema.staff.c.id)).scalar_one())


def test_a_job_that_takes_longer_than_most_makes_the_next_one_late_and_time_alone_tells(shop: House) -> None:
    running, waiting = take_in(shop), take_in(shop, promise="2026-11-25T11:30")
    hands = Actor(shop.shop_id, "staff", the_technician(shop), "technician")
    for phase in ("inspecting", "in_line", "on_bench"):
        moves.move(shop.ctx, hands, running, phase)
    first = made(shop, waiting)
    assert first.chance is not None and first.chance > 0.5 and not warnings(shop, waiting)
    looked = 0
    while not warnings(shop, waiting) and shop.clock() < WEDNESDAY + 2.5 * HOUR:
        shop.clock.advance(60)
        looked += forecast.look(shop.ctx, shop.system()) is not None
    (warned,) = warnings(shop, waiting)
    assert warned.codes["threat"] == "other_job" and shop.clock() < WEDNESDAY + 2.5 * HOUR
    assert 2 <= looked <= 15, looked  # every ten minutes, and at the 80 % points


def test_a_part_that_is_not_ordered_warns_only_when_nobody_orders_it(shop: House) -> None:
    shop.clock.set(WEDNESDAY + 9.5 * HOUR)  # it is shut, so no slow tick makes it look
    ticket_id = take_in(shop, promise="2026-11-26T16:00")
    parts.need(shop.ctx, shop.actor(), ticket_id, name="speaker cone")
    assert made(shop, ticket_id).without is Without.NOT_ORDERED and not warnings(shop, ticket_id)
    shop.clock.advance(15 * 60)
    assert forecast.look(shop.ctx, shop.system()) is not None  # time alone is a reason to look
    (warned,) = warnings(shop, ticket_id)
    assert warned.codes["threat"] == "part_missing" and "expected" not in warned.codes


def test_a_shop_whose_rule_it_is_tells_a_later_time_by_itself_once_a_day_and_never_an_earlier_one(shop: House) -> None:
    set_up.change_settings(shop.ctx, shop.actor(), {"promise_rule": "tell"})
    ticket_id = take_in(shop, promise="2026-11-26T15:00")
    part = parts.need(shop.ctx, shop.actor(), ticket_id, name="speaker cone")
    parts.order(shop.ctx, shop.actor(), part, supplier="Lantern Parts")
    before = made(shop, ticket_id)
    assert standing(shop, ticket_id).promise_at == datetime(2026, 11, 26, 15, tzinfo=UTC)
    parts.change_due(shop.ctx, shop.actor(), part, due=date(2026, 11, 27))
    after = made(shop, ticket_id)
    now = standing(shop, ticket_id)
    assert (now.promise_at, now.made_by, now.why) == (after.promise_at, promised.BY_THE_RULE, "part_late")
    assert len(told(shop, "promise_changed")) == 1 and not warnings(shop, ticket_id)
    parts.change_due(shop.ctx, shop.actor(), part, due=date(2026, 12, 2))
    made(shop, ticket_id)  # a second time on the same day staff decide
    assert standing(shop, ticket_id).promise_at == now.promise_at and len(warnings(shop, ticket_id)) == 1
    parts.arrive(shop.ctx, shop.actor(), part)
    sooner = made(shop, ticket_id)
    assert sooner.promise_at is not None and before.promise_at is not None and sooner.promise_at < before.promise_at
    assert standing(shop, ticket_id).promise_at == now.promise_at  # that it goes faster is for staff to say


def standing(house: House, ticket_id: str) -> Any:
    with house.read() as unit:
        return promised.standing(unit)[ticket_id]


def test_it_waits_for_a_pause_but_not_for_ever_and_an_idle_look_is_one_statement(shop: House) -> None:
    ticket_id = take_in(shop)
    assert forecast.look(shop.ctx, shop.system()) is not None  # the first of all
    act = iter(range(99))
    began = shop.clock()
    while shop.clock() < began + timedelta(seconds=14):  # somebody types all the time
        parts.need(shop.ctx, shop.actor(), ticket_id, name=f"screw {next(act)}")
        assert forecast.look(shop.ctx, shop.system()) is None
        shop.clock.advance(1)
    parts.need(shop.ctx, shop.actor(), ticket_id, name="the last screw")
    shop.clock.advance(1)
    assert forecast.look(shop.ctx, shop.system()) is not None
    with statements(shop) as said:
        assert forecast.look(shop.ctx, shop.system()) is None
    assert len(said) == 1 and said[0].lower().startswith("select"), said
    print("FIGURE forecast_idle statements=1 written=0")


@contextmanager
def statements(house: House) -> Iterator[list[str]]:
    said: list[str] = []

    def note(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        said.append(statement)

    event.listen(house.ctx.db.engine, "before_cursor_execute", note)
    try:
        yield said
    finally:
        event.remove(house.ctx.db.engine, "before_cursor_execute", note)


def test_a_clock_that_goes_back_never_stops_it_and_the_same_facts_give_the_same_forecast(shop: House) -> None:
    ticket_id = take_in(shop)
    first = made(shop, ticket_id)
    shop.clock.advance(60)
    forecast.remake(shop.ctx, shop.system())
    assert kept(shop)[ticket_id] != first
    shop.clock.set(first.made_at)
    with shop.ctx.db.write(shop.shop_id) as unit:  # forget that run, to make it at the very same instant
        unit.connection.execute(schema.forecast_runs.delete())
    forecast.remake(shop.ctx, shop.system())
    assert kept(shop)[ticket_id] == first
    shop.clock.set(WEDNESDAY - timedelta(days=30))
    assert forecast.look(shop.ctx, shop.system()) is not None
    assert kept(shop)[ticket_id].made_at == shop.clock()
    shop.clock.set(WEDNESDAY + timedelta(days=400))
    assert forecast.look(shop.ctx, shop.system()) is not None


def test_what_is_out_of_work_has_no_forecast_any_more_and_what_is_watched_is_ready_soon(shop: House) -> None:
    ticket_id, other = take_in(shop), take_in(shop)
    for phase in ("inspecting", "in_line", "on_bench", "proving"):
        moves.move(shop.ctx, shop.actor(), ticket_id, phase)
    began = shop.clock()
    watched = made(shop, ticket_id)
    assert set(watched.grid) == {began + timedelta(minutes=10)}  # proving_minutes
    assert watched.promise_at == WEDNESDAY + HOUR / 2
    moves.move(shop.ctx, shop.actor(), ticket_id, "on_shelf")
    made(shop, other)
    assert set(kept(shop)) == {other}


def test_many_who_do_it_at_once_store_one_answer_and_warn_once(shop: House) -> None:
    ticket_id = take_in(shop, promise="2026-11-25T09:30")
    take_in(shop, promise="2026-11-25T09:30")
    shop.clock.advance(3)
    done: list[forecast.Remade] = []

    def work() -> None:
        done.append(forecast.remake(shop.ctx, shop.system()))

    workers = [threading.Thread(target=work) for _ in range(6)]
    for one in workers:
        one.start()
    for one in workers:
        one.join()
    assert len(done) == 6 and any(one.stored for one in done)
    assert len(warnings(shop, ticket_id)) <= 1
    with shop.read() as unit:
        warned = [one for one in promised.standing(unit).values() if one.warned_at is not None]
        made_at = {one.made_at for one in forecasts.of_tickets(unit).values()}
    assert len(told(shop)) == len(warned) >= 1 and len(made_at) == 1
    print(f"FIGURE forecast_at_once workers=6 warned_twice={len(told(shop)) - len(warned)} mixed=0")


def test_what_is_offered_for_a_new_device_is_what_its_forecast_then_says(shop: House) -> None:
    for _ in range(3):
        take_in(shop)
    with shop.read() as unit:
        now = forecast.outlook_of_new(shop.ctx, unit)
        with_part = forecast.outlook_of_new(shop.ctx, unit, supplier_id="Lantern Parts")
        assert forecast.outlook_of_new(shop.ctx, unit) is now  # nothing has changed
    stored = made(shop, take_in(shop))
    assert now.promise_at is not None and stored.promise_at is not None and with_part.promise_at is not None
    # A quarter of the paths: the same draws for the others, so it lies within a tick.
    assert abs(now.promise_at - stored.promise_at) <= HOUR / 2
    assert with_part.promise_at > now.promise_at


def test_an_absurd_shop_is_told_so_and_never_stops_the_others(shop: House) -> None:
    ticket_id = take_in(shop)
    with shop.read() as unit:
        rows = [dict(row._mapping) for row in unit.connection.execute(select(schema.tickets))]
    copies = [
        rows[0] | {"id": f"copy-{n}", "number": f"N{n}", "token_hash": f"h{n}", "promise_at": None} for n in range(1100)
    ]
    with shop.ctx.db.write(shop.shop_id) as unit:
        unit.connection.execute(insert(schema.tickets), copies)
    forecast.remake(shop.ctx, shop.system())
    found = kept(shop)
    many = [one for one in found.values() if one.without is Without.TOO_MANY]
    assert len(found) == 1101 and len(many) == 101
    assert all(one.without in (None, Without.FAR, Without.TOO_MANY) for one in found.values())
    with shop.ctx.db.write(shop.shop_id) as unit:
        unit.connection.execute(schema.hours.delete())
        shops.note_change(unit)
    assert made(shop, ticket_id).without is not Without.SHUT  # with so many it rests longer between two runs
    shop.clock.advance(1101 / forecast.TICKETS_A_SECOND)
    assert made(shop, ticket_id).without is Without.SHUT
    print(f"FIGURE forecast_many tickets=1101 reckoned={len(found) - len(many)} told_too_many={len(many)}")


def remake_until(settings: Any, now: datetime, shop_id: str, calls: int) -> None:
    """A process that makes the forecasts, and is gone as if by kill -9 when it asks for the time so many times."""
    asked = itertools.count(1)

    def clock() -> datetime:
        if next(asked) == calls:
            os._exit(137)
        return now

    services = wiring.build(settings, clock=clock)
    forecast.remake(services.context, Actor(shop_id, "system", "clock"))
    os._exit(0)


@pytest.mark.real
def test_a_process_that_is_killed_while_it_makes_forecasts_leaves_nothing_half_written(shop: House) -> None:
    """It asks for the time once before it reads, and again while it stores what it warns of (never in between)."""
    ticket_id = take_in(shop, promise="2026-11-26T15:00")
    part = parts.need(shop.ctx, shop.actor(), ticket_id, name="speaker cone")
    parts.order(shop.ctx, shop.actor(), part, supplier="Lantern Parts")
    before = made(shop, ticket_id)
    parts.change_due(shop.ctx, shop.actor(), part, due=date(2026, 11, 27))
    ended: list[int] = []
    for calls in itertools.count(1):
        process = multiprocessing.get_context("fork").Process(
            target=remake_until, args=(shop.services.settings, shop.clock(), shop.shop_id, calls)
        )
        process.start()
        process.join(60)
        ended.append(process.exitcode or 0)
        if process.exitcode == 0:
            break
        assert process.exitcode == 137 and kept(shop) == {ticket_id: before} and not warnings(shop, ticket_id)
    assert len(ended) >= 3 and len(warnings(shop, ticket_id)) == len(told(shop)) == 1
    print(f"FIGURE forecast_killed times={len(ended) - 1} half_written=0")

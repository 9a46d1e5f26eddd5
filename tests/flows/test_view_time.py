"""Where the time goes, through the real flows and on both databases; how many statements, and how fast for many."""

from __future__ import annotations

import time as clock_time
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, event, insert

from notify.core.actors import Actor
from notify.core.errors import NotAllowed
from notify.core.where_time_goes import Cause
from notify.flows import handover, moves, parts, questions, set_up, view_time
from notify.flows.check_in_form import DeviceForm
from notify.store import schema as s
from notify.store import stories
from notify.web.counter import time_says as says
from tests.parts.house import SHOP
from tests.parts.shelved import token_of

HOUR = timedelta(hours=1)
pytestmark = pytest.mark.long


def take_in(house: Any, name: str = "Kestrel pocket radio") -> str:
    return str(house.check_in(DeviceForm(name)).ticket_ids[0])


def move(house: Any, ticket: str, to: str, at: datetime, **more: Any) -> None:
    house.clock.set(at)
    moves.move(house.ctx, house.actor(), ticket, to, **more)


def hours(seen: view_time.TimeReport) -> dict[str, float]:
    return {str(cause): round(spent.open / 3600, 6) for cause, spent in seen.sums.items()}


def one_repair(house: Any, start: datetime) -> str:
    """By hand: 1 hour for the bench, 2 for the customer, half an hour on the bench, then the shelf."""
    house.clock.set(start)
    ticket = take_in(house)
    house.clock.set(start + HOUR)
    asked = questions.ask(house.ctx, house.actor(), ticket, kind="price", wording="It costs more. Go on?", price="45")
    house.clock.set(start + 3 * HOUR)
    questions.answer(house.ctx, house.actor(), asked, answer="accept", said_by="Ines, by phone")
    for to, after in (("in_line", 3.0), ("on_bench", 3.0), ("on_shelf", 3.5)):
        move(house, ticket, to, start + after * HOUR)
    return ticket


def test_a_repair_through_the_real_flows_comes_to_the_hours_counted_by_hand(house: Any) -> None:
    start = house.clock().replace(hour=10, minute=0, second=0, microsecond=0)
    one_repair(house, start)
    house.clock.set(start + 5 * HOUR)
    seen = view_time.view(house.ctx, house.actor())
    assert hours(seen) == {"line": 1, "customer": 2, "bench": 0.5, "shelf": 1.5}
    assert (seen.devices, seen.days, seen.cut) == (1, 90, False)
    assert says.finding(seen) == (
        "Until a device is ready, 57 of 100 of its open hours go into waiting for the customer; hands are on it in "
        "14 of 100."
    )
    whole = (seen.now - seen.first).total_seconds() / 3600
    assert seen.on_average(Cause.CUSTOMER) == pytest.approx(2 / whole)


def test_a_part_is_waited_for_until_it_arrives_and_a_night_is_no_open_time(house: Any) -> None:
    start = house.clock().replace(hour=16, minute=0, second=0, microsecond=0)
    house.clock.set(start)
    ticket = take_in(house)
    part = parts.need(house.ctx, house.actor(), ticket, name="Dial cord")
    house.clock.set(start + 19 * HOUR)  # 11 on the next morning: open 16 to 18 and 9 to 11
    parts.arrive(house.ctx, house.actor(), part)
    seen = view_time.view(house.ctx, house.actor())
    assert hours(seen) == {"part": 4} and seen.sums[Cause.PART].wall == 19 * 3600


def test_only_the_last_ninety_days_count_and_nothing_of_a_device_that_went_home_before_them(house: Any) -> None:
    start = house.clock().replace(hour=10, minute=0, second=0, microsecond=0)
    one_repair(house, start)
    take_in(house)
    done = house.check_in(DeviceForm("Kestrel pocket radio"))
    move(house, done.ticket_ids[0], "on_shelf", house.clock() + HOUR, outcome="unrepaired", reason="not_repairable")
    handover.hand_back(house.ctx, house.actor(), ticket_ids=done.ticket_ids, token=token_of(house, done.ticket_ids[0]))
    assert view_time.view(house.ctx, house.actor()).devices == 3
    house.clock.set(start + timedelta(days=100))
    seen = view_time.view(house.ctx, house.actor())
    assert seen.sums.keys() == {Cause.SHELF, Cause.LINE} and seen.devices == 2
    assert seen.sums[Cause.SHELF].wall == seen.sums[Cause.LINE].wall == 90 * 86_400


def test_devices_of_another_shop_are_neither_counted_nor_told(house: Any) -> None:
    take_in(house)
    house.clock.advance(60)
    other = set_up.make_shop(house.ctx, settings=SHOP | {"name": "Ferry Slip Repairs"})
    assert view_time.view(house.ctx, Actor(other, "staff", "staff-other", "owner")).devices == 0
    with house.ctx.db.read(other) as unit:
        assert stories.count_here(unit, house.clock() - HOUR) == 0
    assert view_time.view(house.ctx, house.actor()).devices == 1


def test_an_empty_shop_and_who_may_not_see_the_reports_are_told_so(house: Any) -> None:
    seen = view_time.view(house.ctx, house.actor())
    assert says.finding(seen) == "No device was here in the last 90 days, so there is nothing to say."
    assert says.rows(seen) and says.kinds(seen) == []
    with pytest.raises(NotAllowed):
        view_time.view(house.ctx, house.actor("counter"))


def _statements(house: Any) -> int:
    seen: list[str] = []

    def note(*given: Any) -> None:
        seen.append(str(given[2]))

    event.listen(Engine, "before_cursor_execute", note)
    try:
        view_time.view(house.ctx, house.actor())
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    return len(seen)


def test_more_devices_need_no_more_statements(house: Any) -> None:
    start = house.clock().replace(hour=10, minute=0, second=0, microsecond=0)
    one_repair(house, start)
    view_time.view(house.ctx, house.actor())
    few = _statements(house)
    for _ in range(8):
        take_in(house)
    assert 0 < few == _statements(house)


@pytest.mark.deep
def test_ten_thousand_devices_that_went_home_are_looked_at_within_seconds(house: Any) -> None:
    _put_many(house, 10_000)
    began = clock_time.process_time()
    seen = view_time.view(house.ctx, house.actor())
    spent = clock_time.process_time() - began
    print(f"FIGURE time_report closed=10000 looked_at={seen.devices} days={seen.days} cpu_seconds={spent:.2f}")
    assert 3000 < seen.devices <= view_time.MOST and spent < 5


def _put_many(house: Any, number: int) -> None:
    """That many repairs of five moves each over 90 days, written beside the flows."""
    first = take_in(house)
    with house.ctx.db.write(house.shop_id) as unit:
        ticket = dict(unit.connection.execute(s.tickets.select().where(s.tickets.c.id == first)).one()._mapping)
        rows, told = [], []
        for n in range(number):
            came = house.clock() - timedelta(days=89) * (1 - n / number)
            mine = {**ticket, "id": f"t{n}", "number": f"N{n}", "token_hash": f"h{n}", "created_at": came}
            rows.append({**mine, "phase": "handed_back", "phase_since": came + 20 * HOUR})
            steps = (("checked_in", ""), ("work_agreed", "in_line"), ("bench_began", "on_bench"),
                     ("repair_done", "proving"), ("shelved", "on_shelf"), ("handed_back", "handed_back"))  # fmt: skip
            told += [
                {"shop_id": unit.shop_id, "id": f"e{n}-{k}", "seq": 1000 + 6 * n + k, "visit_id": ticket["visit_id"],
                 "ticket_id": f"t{n}", "kind": kind, "at": came + 4 * k * HOUR,
                 "recorded_at": came, "actor_kind": "staff", "actor_id": None, "codes": {"to": to}}
                for k, (kind, to) in enumerate(steps)
            ]  # fmt: skip
        unit.connection.execute(insert(s.tickets), rows)
        unit.connection.execute(insert(s.events), told)

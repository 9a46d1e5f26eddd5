"""One change in a shop with many open repairs: until its new forecasts are stored, and what a page waits for."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from notify.flows import desk_notes, forecast, moves, parts, set_up, staff
from notify.flows.check_in_form import DeviceForm
from notify.flows.forecast_inputs import Inputs, prepare
from notify.flows.forecast_made import play
from notify.flows.shop_facts import Facts, gather
from notify.forecast import ready
from notify.store import forecasts
from tests.bench.line import Figure, Side, alternate, compare
from tests.bench.stage import Nothing, house_on
from tests.parts.house import House

CPU_LIMIT, PAGE_LIMIT = 0.2, 60.0  # seconds of one core; milliseconds of one core
AGAINST = (
    "the engine alone on the same inputs (draws, ready.play and ready.forecasts): no facts read, no hours cut, nothing "
    "judged, nothing stored"
)


def figures(*, tickets: int, rounds: int) -> list[Figure]:
    """`reforecast`, `reforecast_cpu` and `outlook_cpu`: processor seconds of one core."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder, house_on(Path(folder), Nothing()) as house:
        first = _shop(house, tickets)
        with house.read() as unit:
            facts = gather(house.ctx, unit)
        inputs = prepare(facts)
        looks: list[float] = []
        pairs = alternate(rounds, lambda n: _ours(house, first, n), lambda n: _theirs(facts, inputs))
        for number in range(rounds):
            looks.append(_outlook(house, first, number))
        with house.read() as unit:
            assert len(forecasts.of_tickets(unit)) == tickets
    ratio, ours, theirs = compare(pairs, unit="CPU s")
    more = {"tickets": tickets, "technicians": 2, "paths": 4000}
    page = sorted(looks)[len(looks) // 2]
    limit = "a physical limit; ratio is ours / limit"
    return [
        Figure("reforecast", ratio, 2.0, AGAINST, rounds, ours, theirs, higher=False, more=more),
        Figure("reforecast_cpu", ours.value / CPU_LIMIT, 1.0, limit, rounds, ours, Side(CPU_LIMIT, "CPU s"),
               higher=False, more=more),
        Figure("outlook_cpu", page / PAGE_LIMIT, 1.0, limit, rounds, Side(page, "CPU ms", tuple(looks)),
               Side(PAGE_LIMIT, "CPU ms"), higher=False, more=more | {"paths": 1000}),
    ]  # fmt: skip


def _shop(house: House, tickets: int) -> str:
    """A shop with so many open repairs, every third of which waits for a part; the first one."""
    for name in ("Odile", "Rasmus"):
        staff.add_staff(house.ctx, house.actor(), name=name, role="technician", password="four kind words", pin="")
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Parts", cutoff=None, delivers_at=None, days=1)
    made = []
    for number in range(tickets):
        house.clock.advance(60)
        device = DeviceForm("Kestrel radio", promise="2026-12-04T17:00")
        done = house.check_in(device, name=f"Ines Farrow {number}", phone="", email=f"ines{number}@example.org")
        made.append(done.ticket_ids[0])
        moves.move(house.ctx, house.actor(), made[-1], "in_line")
        if number % 3 == 2:
            part = parts.need(house.ctx, house.actor(), made[-1], name="speaker cone")
            parts.order(house.ctx, house.actor(), part, supplier="Lantern Parts")
    return made[0]


def _ours(house: House, ticket_id: str, number: int) -> float:
    desk_notes.set_place(house.ctx, house.actor(), ticket_id, shelf=f"B{number}")
    house.clock.advance(3)
    began = time.process_time()
    assert forecast.look(house.ctx, house.system()) is not None
    return time.process_time() - began


def _theirs(facts: Facts, inputs: Inputs) -> float:
    promised = {one: job.promise_at for one, job in facts.jobs.items() if job.promise_at}
    began = time.process_time()
    played = play(inputs)
    assert played is not None
    made = ready.forecasts(
        played, made_at=facts.now, counter=facts.counter, level=facts.level, minutes=facts.shop.promise_tick,
        promises=promised, seed=inputs.seed,
    )  # fmt: skip
    assert len(made) == len(facts.jobs)
    return time.process_time() - began


def _outlook(house: House, ticket_id: str, number: int) -> float:
    """What check-in waits for right after something happened, in milliseconds."""
    desk_notes.set_place(house.ctx, house.actor(), ticket_id, shelf=f"C{number}")
    began = time.process_time()
    with house.read() as unit:
        assert forecast.outlook_of_new(house.ctx, unit, supplier_id="Lantern Parts").promise_at is not None
    return (time.process_time() - began) * 1000

"""From a shop's facts to what is played: who has a device in hand, which boxes come together, what time alone changes.

The rules are those of the forecast's own semantics (what waits for a part is in nobody's hands; one box is one draw; a
job still running tells that such jobs can be longer). The shop opens from 9 to 18 from Monday to Saturday.
"""

from __future__ import annotations

import threading
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from notify.core.actors import Actor
from notify.core.ready import Forecast
from notify.flows import forecast, learn, moves, parts, repair_kinds, set_up, staff, view_outlook
from notify.flows.check_in_form import DeviceForm
from notify.flows.forecast_inputs import Inputs, prepare
from notify.flows.record import record
from notify.flows.shop_facts import gather
from notify.store import forecast_facts, forecasts, tickets
from notify.store import repair_kinds as kept_kinds
from tests.parts.house import House

WEDNESDAY = datetime(2026, 11, 25, 9, tzinfo=UTC)  # London is on UTC in November
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
pytestmark = pytest.mark.long


@pytest.fixture
def shop(house: House) -> House:
    """Open, with a technician, kinds of repair, and a supplier that brings at nine the next day."""
    house.clock.set(WEDNESDAY)
    staff.add_staff(house.ctx, house.actor(), name="Odile", role="technician", password="four kind words", pin="")
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Parts", cutoff=time(17), delivers_at=time(9), days=1)
    repair_kinds.add_first(house.ctx, house.actor())
    return house


def take_in(house: House, *phases: str, kind: str = "", promise: str = "", by: Actor | None = None) -> str:
    ticket_id = str(house.check_in(DeviceForm("Kestrel radio", kind=kind, promise=promise)).ticket_ids[0])
    for phase in phases:
        moves.move(house.ctx, by or house.actor(), ticket_id, phase)
    return ticket_id


def technician(house: House) -> Actor:
    """The one who is at the bench."""
    with house.read() as unit:
        (only,) = forecast_facts.at_bench(unit)
    return Actor(house.shop_id, "staff", only, "technician")


def inputs(house: House) -> Inputs:
    with house.read() as unit:
        return prepare(gather(house.ctx, unit))


def remade(house: House) -> dict[str, Forecast]:
    assert forecast.remake(house.ctx, house.system()).stored
    with house.read() as unit:
        return dict(forecasts.of_tickets(unit))


def is_changed(house: House) -> bool:
    with house.read() as unit:
        return forecasts.state(unit).is_changed


def test_what_lies_on_the_bench_and_waits_for_a_part_is_in_nobodys_hands(shop: House) -> None:
    ticket_id = take_in(shop, "in_line", "on_bench", by=technician(shop))
    assert [job.by for job in inputs(shop).jobs] == [0]
    parts.need(shop.ctx, shop.actor(), ticket_id, name="Dial cord", supplier="Lantern Parts")
    (job,) = inputs(shop).jobs
    assert job.by is None and len(job.parcels) == 1
    assert min(remade(shop)[ticket_id].grid) > WEDNESDAY + 24 * HOUR, "not before its part"


def test_parts_of_one_supplier_that_are_due_together_come_in_one_box_and_others_in_their_own(shop: House) -> None:
    first, second, third = (take_in(shop) for _ in range(3))
    for ticket_id in (first, second):
        parts.need(shop.ctx, shop.actor(), ticket_id, name="Dial cord", supplier="Lantern Parts")
    due = WEDNESDAY + 25 * HOUR
    parts.need(shop.ctx, shop.actor(), third, name="Dial cord", supplier="Lantern Parts", due=due)
    box = {job.id: job.parcels for job in inputs(shop).jobs}
    assert box[first] == box[second] != box[third] and len(inputs(shop).parcels) == 2


def test_each_kind_has_luck_of_its_own(shop: House) -> None:
    """Were two kinds drawn alike, a shop slow with one would be slow with the other; independent draws correlate by
    less than four standard errors."""
    for kind in ("Camera shutter", "Reader battery"):
        take_in(shop, kind=kind)
    one, other = (draws.mu for draws in inputs(shop).kinds(4000).values())
    assert abs(float(np.corrcoef(one, other)[0, 1])) < 4 / 4000**0.5


def test_a_job_that_still_runs_tells_that_such_jobs_can_be_longer(shop: House) -> None:
    take_in(shop, "in_line", "on_bench", kind="Reader battery", by=technician(shop))
    take_in(shop, kind="Reader battery")
    before, medians = inputs(shop).kinds(4000), []
    for hours in (0, 2, 4):
        shop.clock.set(WEDNESDAY + hours * HOUR)
        (draws,) = inputs(shop).kinds(4000).values()
        medians.append(float(np.median(draws.mu)))
    (known,) = before.values()
    assert float(np.median(known.mu)) == pytest.approx(medians[0], abs=1e-9)
    assert medians[0] + 0.1 < medians[1] < medians[2], "25 minutes are usual, and it has run for hours"


def test_a_device_that_was_watched_long_enough_is_ready_now_and_waits_for_no_part(shop: House) -> None:
    ticket_id = take_in(shop, "in_line", "on_bench", "proving", promise="2026-11-25T10:00")
    parts.need(shop.ctx, shop.actor(), ticket_id, name="Spare knob")
    shop.clock.set(WEDNESDAY + 50 * MINUTE)
    found = remade(shop)[ticket_id]
    assert found.without is None and set(found.grid) == {WEDNESDAY + 50 * MINUTE}
    assert found.promise_at == WEDNESDAY + HOUR and found.chance == 1.0


def test_ready_at_the_very_instant_of_the_promise_keeps_it(shop: House) -> None:
    ticket_id = take_in(shop, "in_line", "on_bench", "proving", promise="2026-11-25T09:10")
    found = remade(shop)[ticket_id]
    assert set(found.grid) == {WEDNESDAY + 10 * MINUTE} and found.chance == 1.0  # proving_minutes after nine


def next_at(house: House) -> datetime | None:
    remade(house)
    with house.read() as unit:
        run = forecasts.state(unit).run
    assert run is not None
    return run.next_at


def test_forecasts_are_looked_at_again_at_a_tick_at_a_point_of_what_runs_and_by_night_at_the_opening(
    shop: House,
) -> None:
    take_in(shop)
    assert next_at(shop) == WEDNESDAY + 10 * MINUTE
    repair_kinds.put_kind(shop.ctx, shop.actor(), name="Reader battery", minutes=3)
    take_in(shop, "in_line", "on_bench", kind="Reader battery", by=technician(shop))
    soon = next_at(shop)
    assert soon is not None and WEDNESDAY + 3 * MINUTE < soon < WEDNESDAY + 9 * MINUTE  # 1.8 x nominal, S07
    shop.clock.set(WEDNESDAY + 12 * HOUR)  # nine in the evening
    assert next_at(shop) == WEDNESDAY + 24 * HOUR


def test_a_page_says_nothing_of_the_past_while_the_clocks_job_has_not_had_its_turn(shop: House) -> None:
    ticket_id = take_in(shop)
    remade(shop)
    shop.clock.set(WEDNESDAY + 6 * HOUR)
    found = forecast.suggest(shop.ctx, shop.actor(), ticket_id)
    assert found is not None and found > WEDNESDAY + 6 * HOUR


def test_what_is_set_anew_for_kinds_of_repair_makes_the_forecasts_anew(shop: House) -> None:
    ticket_id = take_in(shop, kind="Camera shutter")
    before = remade(shop)[ticket_id]
    assert not is_changed(shop)
    repair_kinds.put_kind(shop.ctx, shop.actor(), name="Camera shutter", minutes=150)
    assert is_changed(shop) and (long := remade(shop)[ticket_id]).grid[9] > before.grid[9] + HOUR
    repair_kinds.set_kind(shop.ctx, shop.actor(), ticket_id, "Reader battery")
    assert is_changed(shop) and remade(shop)[ticket_id].grid[9] < long.grid[9] - HOUR
    with shop.ctx.db.write(shop.shop_id) as unit:
        row = kept_kinds.find_kind(unit, "Camera shutter")
        kept_kinds.put_sums(unit, [(row.id, 9, 40.0, 180.0)])  # as if a disk had lied
    assert not is_changed(shop) and learn.relearn(shop.ctx, shop.actor()) == 1 and is_changed(shop)


def test_what_happens_while_forecasts_are_made_makes_them_anew(shop: House) -> None:
    """Somebody writes while the clock's job has looked and not yet stored: on either database the change is seen."""
    ticket_id = take_in(shop)
    job = threading.Thread(target=forecast.remake, args=(shop.ctx, shop.system()))
    with shop.ctx.db.write(shop.shop_id) as unit:
        job.start()
        job.join(1.0)  # it has looked by then, and waits or has stored; had it not, this would tell nothing
        visit = tickets.get_job(unit, ticket_id).visit_id
        record(shop.ctx, unit, shop.actor(), "place_changed", visit_id=visit, ticket_id=ticket_id, codes={})
    job.join()
    assert is_changed(shop)


def test_a_stint_that_runs_for_days_counts_the_open_hours_of_each_of_them(shop: House) -> None:
    take_in(shop, "in_line", "on_bench", by=technician(shop))
    shop.clock.set(WEDNESDAY + 49 * HOUR)  # Friday at ten: nine hours of Wednesday, nine of Thursday, one
    (job,) = inputs(shop).jobs
    assert job.spent == 19 * 3600


def test_what_could_be_promised_is_said_without_a_part_first_and_then_by_the_soonest_supplier(shop: House) -> None:
    for name, days in (("Alder Depot", 3), ("Zinnia Spares", 2)):
        set_up.put_supplier(shop.ctx, shop.actor(), name=name, cutoff=time(17), delivers_at=time(9), days=days)
    set_up.put_supplier(shop.ctx, shop.actor(), name="Never Sure", cutoff=time(17), delivers_at=time(9), days=365)
    found = view_outlook.outlook(shop.ctx, shop.actor())
    assert [one.supplier for one in found] == ["", "Lantern Parts", "Zinnia Spares", "Alder Depot", "Never Sure"]
    times = [one.at for one in found[:4]]
    assert None not in times and times == sorted(times, key=str) and found[4].at is None and found[4].without

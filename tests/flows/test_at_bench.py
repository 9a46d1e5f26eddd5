"""Who is at the bench and who is away: what is refused, what is said, what is deleted, and that forecasts follow."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.flows import at_bench, forecast, set_up, staff, view_at_bench
from notify.flows.check_in_form import DeviceForm
from notify.flows.view_staff import Colleague, view_staff
from notify.schedule.due import DueJobs
from notify.schedule.jobs import JOBS
from notify.store import absences, forecasts, schema, shops
from notify.store import staff as staff_rows
from tests.parts.house import House

pytestmark = pytest.mark.long
WEDNESDAY = datetime(2026, 11, 25, 9, tzinfo=UTC)  # London is on UTC in November; open from 9 to 18, not on Sundays


@pytest.fixture
def shop(house: House) -> House:
    house.clock.set(WEDNESDAY)
    appoint(house, "Odile")
    return house


def hire(house: House, name: str, role: str = "technician") -> str:
    return staff.add_staff(house.ctx, house.actor(), name=name, role=role, password="four kind words", pin="")


def appoint(house: House, name: str, role: str = "technician") -> str:
    """The same without hashing a password, which is slow on purpose."""
    with house.ctx.db.write(house.shop_id) as unit:
        return staff_rows.add_staff(unit, name=name, role=role, password_hash="", pin_hash="", at=WEDNESDAY)


def of(house: House, name: str = "Odile") -> Colleague:
    return next(one for one in view_staff(house.ctx, house.actor()) if one.name == name)


def away(house: House, starts: str, ends: str, name: str = "Odile") -> at_bench.Noted:
    return at_bench.note_away(house.ctx, house.actor(), of(house, name).id, starts, ends)


def stamp(house: House) -> str:
    with house.read() as unit:
        return str(unit.connection.execute(select(schema.shops.c.changed)).scalar_one())


def rows(house: House) -> int:
    with house.read() as unit:
        return len(absences.list_absences(unit, after=WEDNESDAY - timedelta(days=4000)))


def test_technicians_and_owners_are_at_the_bench_until_somebody_says_otherwise(shop: House) -> None:
    appoint(shop, "Ada", "counter")
    assert of(shop).at_bench and not of(shop, "Ada").at_bench
    before = stamp(shop)
    assert at_bench.set_bench(shop.ctx, shop.actor(), of(shop, "Ada").id, repairs=True) == 2
    assert at_bench.set_bench(shop.ctx, shop.actor(), of(shop).id, repairs=False) == 1
    assert stamp(shop) != before and not of(shop).at_bench and of(shop, "Ada").at_bench


def test_more_people_than_forecasts_reckon_with_are_refused_in_words_and_never_slip_in(shop: House) -> None:
    for name in ("Ben", "Cleo", "Dara", "Evan"):
        appoint(shop, name)
    sixth = hire(shop, "Fay")  # a technician, but there is no room
    assert not of(shop, "Fay").at_bench
    with pytest.raises(Conflict, match="up to 5 people"):
        at_bench.set_bench(shop.ctx, shop.actor(), sixth, repairs=True)
    staff.change_staff(shop.ctx, shop.actor(), of(shop, "Ben").id, active=False)
    at_bench.set_bench(shop.ctx, shop.actor(), sixth, repairs=True)
    staff.change_staff(shop.ctx, shop.actor(), of(shop, "Ben").id, active=True)
    assert not of(shop, "Ben").at_bench and of(shop, "Fay").at_bench
    with shop.read() as unit:
        assert at_bench.is_full(unit)
    forecast.remake(shop.ctx, shop.system())  # five are reckoned with


def test_an_absence_that_empties_the_bench_says_the_days_and_the_promises_on_them(shop: House) -> None:
    for promise in ("2026-11-27T11:30", "2026-11-27T18:00", "2026-11-28T09:30"):
        shop.check_in(DeviceForm("Kestrel radio", promise=promise))
    noted = away(shop, "2026-11-27", "2026-11-27")
    assert noted.empty == at_bench.Empty((date(2026, 11, 27),), 2)
    appoint(shop, "Ben")
    assert away(shop, "2026-11-27", "2026-11-30").empty.days == ()  # Ben is here
    assert away(shop, "2026-11-27T09:00", "2026-11-30T09:30", "Ben").empty.days == (
        date(2026, 11, 27),
        date(2026, 11, 28),
    )
    assert len(of(shop).away) == 2  # absences may overlap


def test_an_absence_of_somebody_who_does_not_repair_empties_nothing(shop: House) -> None:
    appoint(shop, "Ada", "counter")
    before = away(shop, "2026-11-26", "2026-11-26")
    assert before.empty.days and not away(shop, "2026-11-26", "2026-11-26", "Ada").empty.days


def test_a_past_absence_one_of_somebody_who_left_and_one_too_many_are_refused(shop: House) -> None:
    with pytest.raises(Invalid, match="over already"):
        away(shop, "2026-11-20", "2026-11-24")
    away(shop, "2026-11-20", "2026-11-25")  # until tonight
    for _ in range(at_bench.MOST_ABSENCES - 1):
        away(shop, "2026-12-01", "2026-12-01")
    with pytest.raises(Conflict):
        away(shop, "2026-12-01", "2026-12-01")
    staff.change_staff(shop.ctx, shop.actor(), of(shop).id, active=False)
    assert rows(shop) == 0  # with who leaves goes when they were away
    with pytest.raises(Invalid, match="does not work here"):
        away(shop, "2026-12-01", "2026-12-01")


def test_everybody_notes_their_own_absence_and_only_the_owner_anybodys(shop: House) -> None:
    odile = Actor(shop.shop_id, "staff", of(shop).id, "technician")
    noted = at_bench.note_away(shop.ctx, odile, odile.id, "2026-12-01", "2026-12-02")
    other = appoint(shop, "Ben")
    for forbidden in (
        lambda: at_bench.note_away(shop.ctx, odile, other, "2026-12-01", "2026-12-02"),
        lambda: at_bench.set_bench(shop.ctx, odile, odile.id, repairs=False),
        lambda: at_bench.come_back(shop.ctx, Actor(shop.shop_id, "staff", other, "technician"), noted.absence_id),
        lambda: at_bench.come_back_on(shop.ctx, odile, other, "2026-12-01"),
    ):
        with pytest.raises(NotAllowed):
            forbidden()
    at_bench.come_back(shop.ctx, odile, noted.absence_id)
    assert not of(shop).away


def test_coming_back_ends_what_runs_and_takes_back_what_has_not_begun(shop: House) -> None:
    away(shop, "2026-11-25", "2026-11-27")
    away(shop, "2026-12-01", "2026-12-04")
    shop.clock.advance(3600)
    with pytest.raises(Conflict):
        at_bench.come_back_on(shop.ctx, shop.actor(), of(shop).id, "2026-11-30")
    before = stamp(shop)
    assert at_bench.come_back_on(shop.ctx, shop.actor(), of(shop).id) == 1
    assert stamp(shop) != before and [one.starts_at.day for one in of(shop).away] == [1] and rows(shop) == 2
    assert at_bench.come_back_on(shop.ctx, shop.actor(), of(shop).id, "2026-12-04") == 1
    assert not of(shop).away and rows(shop) == 1  # the one that ran ended an hour after it began
    with pytest.raises(Conflict):
        at_bench.come_back_on(shop.ctx, shop.actor(), of(shop).id)


def test_a_forecast_is_made_anew_after_an_absence_and_again_when_it_is_taken_back(shop: House) -> None:
    ticket_id = str(shop.check_in(DeviceForm("Kestrel radio")).ticket_ids[0])

    def ready() -> Any:
        shop.clock.set(WEDNESDAY + timedelta(hours=9))  # closing time: the clock alone changes nothing
        forecast.look(shop.ctx, shop.system())
        with shop.read() as unit:
            return forecasts.of_tickets(unit)[ticket_id].grid

    shop.clock.set(WEDNESDAY + timedelta(hours=9))
    before = ready()
    noted = away(shop, "2026-11-26", "2026-11-26")
    later = ready()
    assert {b - a for a, b in zip(before, later, strict=True)} == {timedelta(days=1)}  # Thursday is left out
    at_bench.come_back(shop.ctx, shop.actor(), noted.absence_id)
    assert ready() == before


def test_absences_are_deleted_thirty_days_after_their_end_by_the_nightly_job(shop: House) -> None:
    away(shop, "2026-11-26", "2026-11-26")
    night = next(job for job in JOBS if job.name == "old_absences")
    jobs = DueJobs(shop.services, (night,), "one")
    for day in range(1, 40):
        shop.clock.set(WEDNESDAY + timedelta(days=day))
        jobs.run_due()
        over = shop.clock() - at_bench.KEPT_FOR > datetime(2026, 11, 27, tzinfo=UTC)
        assert rows(shop) == (0 if over else 1), day
    assert rows(shop) == 0


def test_the_check_says_what_keeps_ready_times_from_being_named(shop: House) -> None:
    def trouble() -> view_at_bench.Trouble:
        return view_at_bench.view(shop.ctx, shop.shop_id)

    assert trouble() == view_at_bench.Trouble(False, False, False, ())
    noted = away(shop, "2026-11-25", "2026-12-20")
    assert trouble().all_away and not trouble().nobody
    at_bench.come_back(shop.ctx, shop.actor(), noted.absence_id)
    at_bench.set_bench(shop.ctx, shop.actor(), of(shop).id, repairs=False)
    assert trouble().nobody and not trouble().all_away
    days = [date(2026, 11, 25) + timedelta(days=ahead) for ahead in range(290)]
    set_up.put_supplier(shop.ctx, shop.actor(), name="Lantern Parts", cutoff=None, delivers_at=None, days=1,
                        working_days="0000001", closed_days=days)  # fmt: skip
    assert trouble().idle_suppliers == ()
    with shop.ctx.db.write(shop.shop_id) as unit:
        unit.connection.execute(schema.suppliers.update().values(working_days="0000000"))
        unit.connection.execute(schema.hours.delete())
        shops.note_change(unit)
    found = view_at_bench.view(shop.ctx, shop.shop_id)
    assert found.idle_suppliers == ("Lantern Parts",) and found.never_open and found.nobody

"""How full the bench will be, from the facts of a shop: room by hand, who is left out, and what is said of it."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest

from notify.core.errors import NotAllowed
from notify.core.ready import Without
from notify.flows import moves, parts, questions, repair_kinds, set_up, staff, view_load
from notify.flows.at_bench import note_away
from notify.flows.check_in_form import DeviceForm
from notify.forecast.load import Taken
from notify.web.counter import load_says as says

WEDNESDAY = datetime(2026, 11, 25, 10, tzinfo=UTC)  # open from 9 to 18 from Monday to Saturday, London's winter
pytestmark = pytest.mark.long


@pytest.fixture
def shop(house: Any) -> Any:
    house.clock.set(WEDNESDAY)
    return house


def technician(shop: Any, name: str) -> str:
    return str(
        staff.add_staff(shop.ctx, shop.actor(), name=name, role="technician", password="four kind words", pin="")
    )


def take_in(shop: Any, number: int = 1, **more: Any) -> list[str]:
    return [str(shop.check_in(DeviceForm("Kestrel radio", **more)).ticket_ids[0]) for _ in range(number)]


def close(shop: Any, day: date) -> None:
    set_up.add_special_day(shop.ctx, shop.actor(), day=day, opens=None, closes=None, reason="Stocktaking")


def view(shop: Any) -> view_load.BenchLoad:
    return view_load.view(shop.ctx, shop.actor())


def test_the_room_of_each_day_is_what_is_open_times_who_is_there(shop: Any) -> None:
    odile, _ = technician(shop, "Odile"), technician(shop, "Bram")
    note_away(shop.ctx, shop.actor(), odile, "2026-11-26T10:00", "2026-11-26T14:00")
    close(shop, date(2026, 11, 27))
    seen = view(shop)
    assert [(day.day.day, day.taken.room / 3600) for day in seen.days] == [
        (25, 16), (26, 18 - 4), (28, 18), (30, 18), (1, 18), (2, 18), (3, 18)
    ]  # fmt: skip
    assert (seen.people, seen.jobs, says.finding(seen)) == (2, 0, "Nothing waits for the bench.")


def test_work_fills_the_first_days_and_what_waits_for_somebody_is_not_in_it(shop: Any) -> None:
    technician(shop, "Odile")
    repair_kinds.put_kind(shop.ctx, shop.actor(), name="Dial restringing", minutes=120)
    take_in(shop, 10, kind="Dial restringing")
    asked, unordered = take_in(shop, 2)
    questions.ask(shop.ctx, shop.actor(), asked, kind="price", wording="It costs more. Go on?", price="45")
    parts.need(shop.ctx, shop.actor(), unordered, name="Dial cord")
    seen = view(shop)
    assert seen.jobs == 10 and seen.without == {Without.QUESTION: 1, Without.NOT_ORDERED: 1}
    shares = [day.share for day in seen.days]
    assert shares[0] > 0.95 and shares == sorted(shares, reverse=True) and shares[-1] < 0.15
    assert all(0 <= day.taken.low <= day.taken.high <= day.taken.room + 1 for day in seen.days)
    assert says.finding(seen).startswith("The bench is full until ")
    assert says.about(seen).endswith(
        "Not in it: one waits for a part that is not ordered and one waits for the customer's answer."
    )
    assert len(says.rows(seen)) == len(says.bars(seen)) == 7 and says.rows(seen)[0][0] == "Today"


def test_it_is_the_same_for_some_minutes_and_another_one_when_something_happens(shop: Any) -> None:
    technician(shop, "Odile")
    (ticket,) = take_in(shop)
    seen = view(shop)
    shop.clock.advance(20)
    assert view(shop) is seen
    moves.move(shop.ctx, shop.actor(), ticket, "in_line")
    later = view(shop)
    assert later.now > seen.now and later.jobs == 1
    shop.clock.advance(600)
    assert view(shop).days[0].taken.room < later.days[0].taken.room


def test_with_nobody_at_the_bench_or_a_shop_that_never_opens_it_says_so(shop: Any) -> None:
    take_in(shop)
    assert says.finding(view(shop)) == "Nobody is at the bench, so nothing can be foreseen."
    technician(shop, "Odile")
    assert says.finding(view(shop)).startswith("The bench has room today: ")
    for ahead in range(30):
        close(shop, date(2026, 11, 25) + timedelta(days=ahead))
    assert says.finding(view(shop)) == "The shop does not open in the next three weeks."
    with pytest.raises(NotAllowed):
        view_load.view(shop.ctx, shop.actor("counter"))


def test_the_night_of_a_clock_change_takes_no_hour_away(shop: Any) -> None:
    shop.clock.set(datetime(2026, 3, 27, 12, tzinfo=UTC))  # clocks go forward on Sunday, 29 March
    technician(shop, "Odile")
    set_up.add_hours(shop.ctx, shop.actor(), weekday=6, opens=time(0), closes=time(12), capacity=1)
    assert [(day.day.day, day.taken.room / 3600) for day in view(shop).days[:4]] == [
        (27, 6),
        (28, 9),
        (29, 11),
        (30, 9),
    ]


def test_the_last_full_day_is_named_before_the_first_with_room() -> None:
    days = [date(2026, 11, 26), date(2026, 11, 27), date(2026, 11, 28)]
    shown = tuple(
        view_load.Day(day, Taken(9 * 3600.0, share * 9 * 3600.0, 0.0, 9 * 3600.0))
        for day, share in zip(days, (1.0, 0.96, 0.5), strict=True)
    )
    load = view_load.BenchLoad(WEDNESDAY, date(2026, 11, 25), shown, 7, {}, 1, 0.0)
    told = "The bench is full until Friday, 27 November; on Saturday, 28 November 4.5 of 9 hours are taken."
    assert says.finding(load) == told

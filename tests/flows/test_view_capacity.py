"""The counter's own figures, counted by hand beside them, and what they recommend."""

from __future__ import annotations

import statistics
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.flows import set_up, view_capacity
from notify.flows.view_capacity import WhatIf
from notify.forecast.counter import Handover, Load, simulate
from notify.store import shops
from tests.parts.counter_day import add_handover, past_pickup, set_clock

pytestmark = pytest.mark.long

# A week in winter, when London's wall clock is UTC.
DAYS = [datetime(2026, 11, day, tzinfo=UTC) for day in (16, 17, 18, 19, 20)]


def _seen(house: Any, **what: float) -> view_capacity.Capacity:
    return view_capacity.view(house.ctx, house.actor(), WhatIf(**what))


def test_a_new_shop_counts_with_assumptions_and_says_so(house: Any) -> None:
    seen = _seen(house)
    assert (seen.minutes.value, seen.minutes.basis, seen.minutes.of) == (6.5, "assumed", 0)
    assert (seen.spread.value, seen.spread.basis) == (5, "assumed")
    assert (seen.no_show.value, seen.no_show.basis) == (0, "assumed")
    assert (seen.walk_ins.value, seen.walk_ins.basis) == (0, "assumed")
    assert (seen.people.value, seen.people.basis) == (1, "set")
    assert seen.now == 2 and seen.best == 1  # the published table: one for one person at 6.5 minutes
    assert _seen(house, people=2).best == 3 and _seen(house, people=2, minutes=8).best == 2
    assert _seen(house, people=2, spread=0).split > _seen(house, people=2, spread=0).best


def test_the_setting_of_people_counts_and_a_shop_that_is_never_open_has_no_capacity_now(house: Any) -> None:
    set_up.change_settings(house.ctx, house.actor(), {"counter_people": "2"})
    assert _seen(house).best == 3
    with house.ctx.db.write(house.shop_id) as unit:
        for row, _ in shops.list_hours(unit):
            shops.drop_hours(unit, row)
    assert _seen(house).now is None


def _past(house: Any, number: int = 24) -> tuple[list[int], list[int]]:
    """Kept pickups at ten o'clock and later, each so many minutes off its time, each so long at the counter."""
    off = [(-6, -3, -1, 0, 0, 2, 4, 9)[i % 8] for i in range(number)]
    took = [(120, 240, 300, 420, 660)[i % 5] for i in range(number)]
    for i in range(number):
        start = DAYS[i % 5].replace(hour=10 + i // 5)
        past_pickup(house, i, start, state="kept", after=off[i] + took[i] / 60, seconds=took[i])
    return off, took


def test_handovers_and_punctuality_are_those_of_the_shop_once_there_are_twenty(house: Any) -> None:
    off, took = _past(house)
    seen = _seen(house)
    assert seen.minutes.basis == seen.spread.basis == "own"
    assert seen.minutes.of == seen.spread.of == 24
    assert seen.minutes.value == pytest.approx(statistics.fmean(took) / 60, abs=0.05)
    assert seen.spread.value == pytest.approx(statistics.stdev(off), abs=0.05)
    assert seen.walk_ins.value == 0, "whoever had a time was counted as somebody without"
    bare = Load(1, 1, Handover(0, seen=tuple(sorted(one / 60 for one in took))), slots=36, spread=seen.spread.value)
    assert seen.rows[0].over == pytest.approx(simulate(bare).over, abs=0.005), "not the shop's own durations"


def test_nineteen_are_too_few_and_a_page_left_open_over_lunch_is_no_handover(house: Any) -> None:
    _past(house, 19)
    seen = _seen(house)
    assert (seen.minutes.value, seen.minutes.basis, seen.minutes.of) == (6.5, "assumed", 19)
    assert (seen.spread.value, seen.spread.of) == (5, 19)
    past_pickup(house, 19, DAYS[0].replace(hour=15), state="kept", after=2, seconds=3600)
    assert _seen(house).minutes.of == 19
    past_pickup(house, 20, DAYS[0].replace(hour=15, minute=15), state="kept", after=2, seconds=None)
    assert _seen(house).minutes.of == 19
    past_pickup(house, 21, DAYS[0].replace(hour=15, minute=30), state="kept", after=2, seconds=300)
    assert _seen(house).minutes.of == 20


def test_whoever_came_at_quite_another_time_does_not_count_as_unpunctual(house: Any) -> None:
    off, _ = _past(house)
    for i in range(3):
        past_pickup(house, 50 + i, DAYS[i].replace(hour=16), state="kept", after=-140, seconds=60)
    seen = _seen(house)
    assert seen.spread.of == 24 and seen.spread.value == pytest.approx(statistics.stdev(off), abs=0.05)


def test_no_shows_are_counted_carefully_while_there_are_few(house: Any) -> None:
    past_pickup(house, 0, DAYS[0].replace(hour=10), state="missed", after=60)
    assert _seen(house).no_show.value == pytest.approx(1 / 21, abs=0.001)  # not 1 of 1
    for i in range(1, 10):
        past_pickup(house, i, DAYS[0].replace(hour=10, minute=i), state="kept", after=1)
    past_pickup(house, 10, DAYS[0].replace(hour=11), state="cancelled", after=1)
    seen = _seen(house).no_show
    assert seen.value == pytest.approx(1 / 30, abs=0.001) and seen.of == 10


def test_people_without_a_time_are_counted_for_each_open_slot_and_outside_the_hours_for_none(house: Any) -> None:
    """By hand: from Monday 16 to Wednesday 25 November, nine o'clock, the house was open 8 days of 36 slots."""
    visit = house.check_in().visit_id
    with house.ctx.db.write(house.shop_id) as unit:
        for i in range(36):
            add_handover(unit, visit, DAYS[i % 5].replace(hour=10 + i // 5), None)
        for i in range(5):
            add_handover(unit, visit, DAYS[i].replace(hour=20), None)  # after closing
    set_clock(house, 2026, 11, 25, 9, 0)
    seen = _seen(house).walk_ins
    assert seen.of == 36 and seen.basis == "own"
    assert seen.value == pytest.approx(36 / (8 * 36), abs=0.01)


def test_what_happened_long_ago_or_in_another_shop_does_not_count(house: Any) -> None:
    _past(house)
    other = set_up.make_shop(house.ctx, settings={"name": "Ferry Slip Repairs", "zone": "Europe/London"})
    theirs = view_capacity.view(house.ctx, Actor(other, "staff", "x", "owner"))
    assert theirs.minutes.of == theirs.spread.of == theirs.no_show.of == 0 and theirs.now is None
    house.clock.advance(timedelta(days=120).total_seconds())
    assert _seen(house).minutes.of == 0


@pytest.mark.parametrize(
    "what",
    [{"people": 0}, {"people": 9}, {"people": 1.5}, {"minutes": 0}, {"minutes": float("nan")}, {"spread": -1},
     {"no_show": 1.0}, {"walk_ins": float("inf")}],
)  # fmt: skip
def test_figures_that_cannot_be_meant_are_refused_with_their_name(house: Any, what: dict[str, float]) -> None:
    with pytest.raises(Invalid) as caught:
        _seen(house, **what)
    assert caught.value.field == next(iter(what))


def test_two_wrong_figures_are_both_named_and_one_tried_is_marked(house: Any) -> None:
    with pytest.raises(Invalid) as caught:
        _seen(house, minutes=0, spread=99)
    assert {one.field for one in caught.value.problems} == {"minutes", "spread"}
    seen = _seen(house, walk_ins=0.5)
    assert seen.walk_ins.basis == "tried" and seen.minutes.basis == "assumed"
    assert seen.best == 0  # the published table: .174 for one person with half a walk-in a slot

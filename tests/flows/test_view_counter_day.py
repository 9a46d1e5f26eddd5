"""One day at the counter as data: free places, who is late, who came, who gave up; in few statements."""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import event

from notify.core.actors import Actor
from notify.flows import handover, pickup, set_up, view_pickups
from notify.store import bookings, people
from tests.parts.counter_day import booked, set_clock, shelved_visit
from tests.parts.shelved import token_of

pytestmark = pytest.mark.long

DAY = datetime(2026, 11, 26)  # a Thursday; the house opens 9:00 to 18:00, two at once, a quarter of an hour each


@pytest.fixture
def morning(house: Any) -> Any:
    """The evening before, so that all of the day can be booked."""
    set_clock(house, 2026, 11, 25, 20, 0)
    return house


def _view(house: Any, **more: Any) -> view_pickups.Pickups:
    return view_pickups.view(house.ctx, house.actor(), day=DAY.date(), **more)


def test_each_slot_has_as_many_free_places_as_nobody_stands_in_it(morning: Any) -> None:
    for name, at in (("Ada", (9, 0)), ("Ben", (9, 0)), ("Cleo", (12, 30)), ("Dov", (17, 45))):
        booked(morning, name, DAY.replace(hour=at[0], minute=at[1]))
    seen = _view(morning)
    assert len(seen.slots) == 9 * 4 and seen.is_open  # by hand: nine hours of four quarters
    assert all(later.start_at - one.start_at == timedelta(minutes=15) for one, later in
               zip(seen.slots, seen.slots[1:], strict=False))  # fmt: skip
    taken = Counter(one.start_at for one in seen.pickups)
    assert [slot.free for slot in seen.slots] == [2 - taken[slot.start_at] for slot in seen.slots]
    assert sum(slot.free for slot in seen.slots) == 72 - 4
    assert [one.person for one in seen.pickups] == ["Ada", "Ben", "Cleo", "Dov"]


def test_a_pickup_that_overlaps_two_slots_takes_a_place_in_both(morning: Any) -> None:
    booked(morning, "Ada", DAY.replace(hour=9, minute=15))
    set_up.change_settings(morning.ctx, morning.actor(), {"slot_minutes": "10"})
    free = {slot.start_at.strftime("%H:%M"): slot.free for slot in _view(morning).slots}
    assert (free["09:00"], free["09:10"], free["09:20"], free["09:30"]) == (2, 1, 1, 2)


def test_somebody_is_late_ten_minutes_after_the_start_and_no_minute_earlier(morning: Any) -> None:
    booked(morning, "Ada", DAY.replace(hour=9, minute=15))
    for minute, late in ((14, None), (24, None), (25, 10), (37, 22)):
        set_clock(morning, 2026, 11, 26, 9, minute, 30 if minute == 37 else 0)
        (one,) = _view(morning).pickups
        assert one.late == late and one.state == "booked"


def test_whoever_came_stays_in_the_day_and_whoever_gave_up_stands_apart(morning: Any) -> None:
    came, kept = booked(morning, "Ada", DAY.replace(hour=9))
    gave_up, _ = booked(morning, "Ben", DAY.replace(hour=9, minute=15))
    again, _ = booked(morning, "Cleo", DAY.replace(hour=9, minute=30))
    set_clock(morning, 2026, 11, 26, 8, 58)
    for visit in (gave_up, again):
        pickup.cancel(morning.ctx, morning.actor(), visit.visit_id)
    pickup.book(morning.ctx, morning.actor(), again.visit_id, DAY.replace(hour=11))
    set_clock(morning, 2026, 11, 26, 9, 3)
    handover.hand_back(morning.ctx, morning.actor(), ticket_ids=[came.ticket_ids[0]],
                       token=token_of(morning, came.ticket_ids[0]))  # fmt: skip
    seen = _view(morning)
    assert [(one.person, one.state) for one in seen.over] == [("Ada", "kept"), ("Ben", "cancelled")]
    assert [(one.person, one.start_at.hour) for one in seen.pickups] == [("Cleo", 11)]
    assert seen.over[0].booking_id == kept.id and seen.over[0].ended_at == morning.clock()
    assert [line.device for line in seen.over[0].taken] == ["Adas radio"] and seen.over[0].late is None
    assert {one.ticket.visit_id for one in seen.ready} == {gave_up.visit_id}
    nine = next(slot for slot in seen.slots if slot.start_at == kept.start_at)
    assert nine.free == 2, "whoever came holds a place still"


def test_the_number_of_whoever_is_late_is_there_for_who_may_see_contacts_and_no_other(morning: Any) -> None:
    booked(morning, "Ada", DAY.replace(hour=9))
    booked(morning, "Ben", DAY.replace(hour=9), phone="", email="ben@example.org")
    booked(morning, "Cleo", DAY.replace(hour=9, minute=15), phone="07700 900456", number_is_device=True)
    booked(morning, "Dov", DAY.replace(hour=10))
    assert {one.phone for one in _view(morning).pickups} == {""}
    set_clock(morning, 2026, 11, 26, 9, 40)
    seen = {one.person: one.phone for one in _view(morning).pickups}
    assert seen == {"Ada": "+447700900123", "Ben": "", "Cleo": "", "Dov": ""}
    with morning.read() as unit:  # the rule that calls follow
        for one in bookings.live_bookings(unit).values():
            number = people.phone_to_call(unit, one.person_id, device_with_us=True)
            assert seen[people.get_person(unit, one.person_id).name] in (number, "")
    system = Actor(morning.shop_id, "system", "clock")
    assert {one.phone for one in view_pickups.view(morning.ctx, system, day=DAY.date()).pickups} == {""}


def test_a_hundred_pickups_of_one_day_are_read_in_fewer_than_twenty_statements(morning: Any) -> None:
    set_up.change_settings(morning.ctx, morning.actor(), {"slot_minutes": "10"})
    times = [DAY.replace(hour=9) + timedelta(minutes=10 * (number // 2)) for number in range(100)]
    for number, local in enumerate(times[:10]):
        booked(morning, f"One{number}", local)
    few, _ = _statements(morning)
    for number, local in enumerate(times[10:]):
        booked(morning, f"More{number}", local)
    for number in range(20):
        shelved_visit(morning, f"Ready{number}")
    many, seen = _statements(morning)
    print(f"FIGURE counter_day_statements pickups={len(seen.pickups)} unbooked={len(seen.ready)} statements={many}")
    assert len(seen.pickups) == 100 and len(seen.ready) == 20
    assert many == few and many < 20


def _statements(house: Any) -> tuple[int, view_pickups.Pickups]:
    run: list[str] = []

    def note(_c: Any, _k: Any, statement: str, *_rest: Any) -> None:
        run.append(statement)

    event.listen(house.ctx.db.engine, "before_cursor_execute", note)
    try:
        seen = _view(house)
    finally:
        event.remove(house.ctx.db.engine, "before_cursor_execute", note)
    return len(run), seen

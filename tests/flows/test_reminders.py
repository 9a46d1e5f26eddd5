"""Before a pickup, after one to which nobody came, and while a device stands on the shelf: who is written to, and when.

Hours and days of telling are the shop's own settings (common practice, no source); clock changes: IANA tz database.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest

from notify.flows import handover, moves, pickup, reminders, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.claim_shown import Speech
from notify.flows.view_claim import view_claim
from notify.flows.view_shelf import shelf_now
from notify.store import bookings
from tests.flows.conftest import Lines, words
from tests.parts.shelved import shelve, token_of

THURSDAY = date(2026, 11, 26)
DAY = timedelta(days=1).total_seconds()


def at(hour: int, minute: int = 0, day: date = THURSDAY) -> datetime:
    return datetime.combine(day, time(hour, minute))


def ready(lines: Lines, devices: int = 1, **whom: Any) -> Any:
    done = lines.house.check_in(*(DeviceForm(f"Kestrel {n}") for n in range(devices)), **whom)
    for ticket_id in done.ticket_ids:
        shelve(lines.house, ticket_id)
    now = lines.house.clock()  # on to the next quarter of an hour, so that the walks below meet the full hours
    lines.house.deliver(after=91)
    lines.house.clock.set(now.replace(minute=0, second=0) + timedelta(minutes=15 * (now.minute // 15 + 1)))
    return done


def book(lines: Lines, done: Any, wall: datetime) -> None:
    pickup.book(lines.house.ctx, lines.house.customer(), done.visit_id, wall)
    lines.house.deliver()


def live(lines: Lines, until: datetime, *, step: float = 300) -> None:
    """The clock's jobs and the dispatcher, as `serve` runs them, until an instant."""
    house = lines.house
    while house.clock() < until:
        house.clock.advance(step)
        reminders.remind_due(house.ctx, house.system())
        reminders.note_missed(house.ctx, house.system())
        reminders.remind_collection(house.ctx, house.system())
        house.deliver()


def left(lines: Lines, done: Any, notice: str) -> list[str]:
    """When each message of a notice left, by the clock in London."""
    return [m.ended_at.strftime("%d %H:%M") for m in lines.rows(done.visit_id, notice) if m.state == "sent"]


@pytest.mark.long
@pytest.mark.parametrize(
    ("slot", "telling", "wanted"),
    [
        (at(14), "", ["26 11:00"]),
        (at(9), "", ["25 20:00"]),  # it would be read an hour before at the earliest: the evening before
        (at(9), "mon-fri 10:00-18:00", ["25 17:00"]),  # no decent hour is left that morning
        (at(10), "", ["26 08:00"]),
    ],
)
def test_a_reminder_leaves_at_an_hour_of_use_and_never_at_night(
    lines: Lines, slot: datetime, telling: str, wanted: list[str]
) -> None:
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"telling_hours": telling})
    done = ready(lines)
    book(lines, done, slot)
    live(lines, datetime(2026, 11, 26, 15, tzinfo=UTC), step=900)
    assert left(lines, done, "pickup_reminder") == wanted
    (text,) = [words(m) for m in lines.text.sent if "see you on" in words(m)]
    assert f"{slot:%H:%M}" in text and "Thursday, 26 November" in text and "/c/" in text and "Tramstop Bench" in text


@pytest.mark.long
def test_a_time_chosen_shortly_before_is_not_reminded_of_and_a_moved_one_is_anew(lines: Lines) -> None:
    soon, moved = ready(lines), ready(lines, phone="07700 900456", email="")
    book(lines, soon, at(11, 30, date(2026, 11, 25)))
    book(lines, moved, at(14))
    live(lines, datetime(2026, 11, 26, 11, 5, tzinfo=UTC), step=900)
    assert left(lines, soon, "pickup_reminder") == [] and len(left(lines, moved, "pickup_reminder")) == 1
    book(lines, moved, at(14, day=date(2026, 11, 27)))
    live(lines, datetime(2026, 11, 27, 13, tzinfo=UTC), step=900)
    assert left(lines, moved, "pickup_reminder") == ["26 11:00", "27 11:00"]


@pytest.mark.long
def test_over_a_clock_change_the_reminder_keeps_its_hours_and_names_the_time_on_the_wall(lines: Lines) -> None:
    lines.house.clock.set(datetime(2027, 3, 26, 9, tzinfo=UTC))
    sunday = date(2027, 3, 28)  # clocks go forward at 01:00
    set_up.add_special_day(lines.house.ctx, lines.house.actor(), sunday, opens=time(9), closes=time(17))
    done = ready(lines)
    book(lines, done, at(14, day=sunday))
    live(lines, datetime(2027, 3, 28, 13, tzinfo=UTC), step=900)
    assert left(lines, done, "pickup_reminder") == ["28 10:00"]  # UTC: 11:00 on the wall, three hours before
    assert any("Sunday, 28 March, 14:00" in words(m) for m in lines.text.sent)


def miss(lines: Lines, done: Any, wall: datetime) -> None:
    book(lines, done, wall)
    live(lines, wall.replace(tzinfo=UTC) + timedelta(hours=3), step=900)


@pytest.mark.long
def test_after_a_missed_pickup_one_gentle_note_leaves_and_the_page_offers_another_time(lines: Lines) -> None:
    done = ready(lines)
    miss(lines, done, at(10))
    assert left(lines, done, "pickup_missed_note") == ["26 12:15"]  # the slot ends at 10:15
    (text,) = [words(m) for m in lines.text.sent if "we kept" in words(m)]
    assert "Choose another time: https://" in text and "Kestrel 0" in text
    assert not [word for word in ("miss", "not come", "did not", "late", "forgot") if word in text.lower()]
    house, services = lines.house, lines.house.services
    page = view_claim(house.ctx, token_of(house, done.ticket_ids[0]),
                      Speech(services.words.get, services.page_words.get))  # fmt: skip
    assert page.pickup and page.pickup.state == "open" and page.pickup.sentence.startswith("We kept it for you.")


@pytest.mark.long
def test_a_note_waits_for_the_morning_and_is_dropped_once_they_came_or_chose_again(lines: Lines) -> None:
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"telling_hours": "mon-sat 08:00-18:00"})
    waits, came, again = ready(lines), ready(lines), ready(lines)
    for done, hour in ((waits, 17), (came, 17), (again, 16)):
        book(lines, done, at(hour))
    live(lines, datetime(2026, 11, 26, 20, 30, tzinfo=UTC), step=900)
    assert left(lines, waits, "pickup_missed_note") == []
    token = token_of(lines.house, came.ticket_ids[0])
    handover.hand_back(lines.house.ctx, lines.house.actor(), ticket_ids=[came.ticket_ids[0]], token=token)
    pickup.book(lines.house.ctx, lines.house.customer(), again.visit_id, at(12, day=date(2026, 11, 27)))
    live(lines, datetime(2026, 11, 27, 9, tzinfo=UTC), step=900)
    assert left(lines, waits, "pickup_missed_note") == ["27 08:00"]
    assert [(s, r) for _, s, r in lines.states(came.visit_id, "pickup_missed_note")] == [
        ("dropped", "no_longer_on_shelf")
    ]
    ((_, state, reason),) = lines.states(again.visit_id, "pickup_missed_note")
    assert (state, reason) in (("dropped", "overtaken"), ("dropped", "booked_again"))


@pytest.mark.long
def test_after_two_missed_pickups_nobody_is_written_to_and_staff_see_that_they_should_call(lines: Lines) -> None:
    done = ready(lines)
    miss(lines, done, at(10))
    (once,) = [one for one in shelf_now(lines.house.ctx, lines.house.actor()) if one.ticket.visit_id == done.visit_id]
    miss(lines, done, at(15))
    miss(lines, done, at(10, day=date(2026, 11, 27)))
    (thrice,) = [one for one in shelf_now(lines.house.ctx, lines.house.actor()) if one.ticket.visit_id == done.visit_id]
    assert len(lines.rows(done.visit_id, "pickup_missed_note")) == 1
    assert (once.missed, once.call_them, thrice.missed, thrice.call_them) == (1, False, 3, True)
    book(lines, done, at(10, day=date(2026, 11, 28)))  # a later booking ends it
    (booked,) = [one for one in shelf_now(lines.house.ctx, lines.house.actor()) if one.ticket.visit_id == done.visit_id]
    assert not booked.call_them


@pytest.mark.long
def test_nobody_is_told_they_were_missed_who_took_a_part_of_it_home_and_a_long_slot_is_not_over_early(
    lines: Lines,
) -> None:
    part, long = ready(lines, 2), ready(lines)
    book(lines, part, at(10))
    token = token_of(lines.house, part.ticket_ids[0])
    lines.house.clock.set(datetime(2026, 11, 26, 10, 5, tzinfo=UTC))
    handover.hand_back(lines.house.ctx, lines.house.actor(), ticket_ids=[part.ticket_ids[0]], token=token)
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"slot_minutes": 180})
    book(lines, long, at(12))
    lines.house.clock.set(datetime(2026, 11, 26, 16, 50, tzinfo=UTC))  # ten minutes short of two hours after its end
    assert reminders.note_missed(lines.house.ctx, lines.house.system()) == 1
    assert lines.rows(part.visit_id, "pickup_missed_note") == []
    with lines.house.read() as unit:
        assert bookings.live_booking(unit, long.visit_id) is not None


def days_of(lines: Lines, done: Any, notice: str = "collection_reminder") -> list[int]:
    return [int(m.refs["days"]) for m in lines.rows(done.visit_id, notice)]


@pytest.mark.long
def test_reminders_widen_stop_and_begin_anew_when_a_device_is_put_there_again(lines: Lines) -> None:
    done = ready(lines)
    start = lines.house.clock()
    live(lines, start + timedelta(days=60), step=DAY / 4)
    assert days_of(lines, done) == [3, 10, 24]  # and then none
    moves.move(lines.house.ctx, lines.house.actor(), done.ticket_ids[0], "in_line", reason="fault_seen_again")
    live(lines, lines.house.clock() + timedelta(days=5), step=DAY / 4)
    shelve(lines.house, done.ticket_ids[0])
    live(lines, lines.house.clock() + timedelta(days=12), step=DAY / 4)
    assert days_of(lines, done) == [3, 10, 24, 3, 10]


@pytest.mark.long
def test_days_count_from_the_newest_device_of_a_visit_and_a_mistake_taken_back_repeats_nothing(lines: Lines) -> None:
    done = lines.house.check_in(DeviceForm("Kestrel"), DeviceForm("Otter"))
    shelve(lines.house, done.ticket_ids[0])
    live(lines, lines.house.clock() + timedelta(days=2), step=DAY / 4)
    shelve(lines.house, done.ticket_ids[1])
    joined = lines.house.clock()
    live(lines, joined + timedelta(days=2.5), step=DAY / 4)
    assert days_of(lines, done) == []
    live(lines, joined + timedelta(days=4), step=DAY / 4)
    assert days_of(lines, done) == [3]
    moves.move(lines.house.ctx, lines.house.actor(), done.ticket_ids[1], "in_line", reason="other")
    moves.undo(lines.house.ctx, lines.house.actor(), done.ticket_ids[1])
    live(lines, lines.house.clock() + timedelta(days=5), step=DAY / 4)
    assert days_of(lines, done) == [3]


@pytest.mark.long
def test_no_collection_reminder_leaves_on_the_day_of_a_note_nor_while_a_time_is_taken(lines: Lines) -> None:
    done = ready(lines)
    start = lines.house.clock()
    book(lines, done, at(9, 30, date(2026, 11, 30)))
    live(lines, datetime(2026, 11, 30, 9, tzinfo=UTC), step=3600)
    assert days_of(lines, done) == [] and start + timedelta(days=4) < lines.house.clock()
    live(lines, datetime(2026, 12, 1, 9, tzinfo=UTC), step=3600)
    assert len(left(lines, done, "pickup_missed_note")) == 1 and days_of(lines, done) == []
    live(lines, datetime(2026, 12, 1, 16, tzinfo=UTC), step=3600)
    assert days_of(lines, done) == [3]

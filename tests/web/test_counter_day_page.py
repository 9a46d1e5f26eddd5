"""The page of one day at the counter, read as a person reads it."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from flask import Flask

from notify.core.itip import Decision
from notify.flows import handover, pickup, set_up
from notify.store import bookings, calendar_answers
from notify.store.calendar_answers import Said
from tests.parts.counter_day import booked, set_clock, shelved_visit
from tests.parts.shelved import token_of
from tests.web.conftest import Browser, sign_in
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long

DAY = datetime(2026, 11, 26)


def _desk(app: Flask, house: Any) -> Browser:
    """Somebody who has just signed in: a session does not outlast the tests' days."""
    return sign_in(app, house, role="owner", name=f"Ada at {house.clock():%d %H:%M} {house.ctx.new_id()[-6:]}")


def _text(browser: Browser, path: str = "/pickups") -> str:
    answer = browser.get(path)
    assert answer.status_code == 200
    return Reader(answer.get_data(as_text=True)).text


def _html(browser: Browser) -> str:
    return browser.get("/pickups").get_data(as_text=True)


def test_the_day_is_told_by_the_clock_with_empty_stretches_folded(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    booked(house, "Ada", DAY.replace(hour=11, minute=30))
    booked(house, "Ben", DAY.replace(hour=11, minute=30))
    booked(house, "Cleo", DAY.replace(hour=14))
    set_clock(house, 2026, 11, 26, 10, 5)
    text = _text(_desk(app, house))
    # By hand: the quarter that runs cannot be chosen any more; five are free until 11:30, two places each.
    for said in (
        "Today at the counter", "Three people are still to come; the next is due at 11:30.",
        "09:00 to 10:15 nobody had a time", "Now, 10:05 The next is due at 11:30.", "10:15 to 11:30 free, ten places",
        "11:30 full", "11:45 to 14:00 free, 18 places", "14:00 1 of 2 free", "14:15 to 18:00 free, 30 places",
    ):  # fmt: skip
        assert said in text, (said, text)
    order = ("09:00 to 10:15", "Now, 10:05", "10:15 to 11:30", "11:30 full", "11:45 to 14:00", "14:00 1 of")
    assert [text.index(one) for one in order] == sorted(text.index(one) for one in order)
    assert not codes_in(text)


def test_whoever_is_late_says_so_in_words_and_can_be_called(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    done, booking = booked(house, "Ada", DAY.replace(hour=9, minute=15))
    booked(house, "Ben", DAY.replace(hour=9, minute=30))
    set_clock(house, 2026, 11, 26, 9, 27)
    html, text = _html(_desk(app, house)), _text(_desk(app, house))
    assert "Ada, 12 minutes late" in text and "Ben, " not in text
    assert "One person is late. The next is due at 09:30." in text
    assert "Two people are still to come, one of them late; the next is due at 09:30." in text
    assert 'href="tel:+447700900123"' in html and html.count("tel:") == 1
    row = html[html.index(f'id="pickup-{booking.id}"') :]
    links = re.findall(r'href="(/visits/[^"]+)"', row)[:3]
    assert [one.split("/")[-1] for one in links[1:]] == ["handover", "book"] and done.visit_id in links[0]
    assert "£24.00 to pay." in text and "Place: A4" in text


def test_whoever_came_is_told_in_words_and_whoever_gave_up_stands_at_the_end(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    came, _ = booked(house, "Ada", DAY.replace(hour=9))
    gone, _ = booked(house, "Ben", DAY.replace(hour=9, minute=15))
    _, booking = booked(house, "Cleo", DAY.replace(hour=9, minute=30))
    set_clock(house, 2026, 11, 26, 9, 4)
    handover.hand_back(
        house.ctx, house.actor(), ticket_ids=[came.ticket_ids[0]], token=token_of(house, came.ticket_ids[0])
    )
    pickup.cancel(house.ctx, house.actor(), gone.visit_id)
    set_clock(house, 2026, 11, 26, 17, 59)
    with house.ctx.db.write(house.shop_id) as unit:
        stands = bookings.get_booking(unit, booking.id)
        assert stands is not None
        bookings.close_booking(unit, stands, "missed", at=house.clock())
    text = _text(_desk(app, house))
    assert "Came, and collected Adas radio at 09:04." in text
    assert "Nobody else is due on this day. One has come already." in text
    end = text[text.index("Did not come, or gave it up") :]
    assert "Ben The time was given up. Bens radio." in end and "Cleo Did not come. Cleos radio." in end
    assert "Ben" not in text[text.index("By the clock") : text.index("Ready, no time yet")]
    ready = text[text.index("Ready, no time yet") : text.index("Did not come, or gave it up")]
    assert "Bens radio" in ready and "Hand back" in ready


def test_a_day_without_hours_shows_its_pickups_and_a_pickup_beside_the_hours_says_so(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    booked(house, "Ada", DAY.replace(hour=9, minute=15))
    set_up.add_special_day(house.ctx, house.actor(), DAY.date(), reason="Harbour fair")
    text = _text(_desk(app, house), "/pickups?day=2026-11-26")
    assert "The counter is closed on this day, and one pickup is booked. Call them." in text
    assert "09:15 the counter is closed" in text and "Ada" in text
    assert "Now, " not in text and "The counter on Thursday, 26 November" in text


def test_what_their_calendar_said_is_told_only_of_whoever_was_invited(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    _, asked = booked(house, "Ada", DAY.replace(hour=9, minute=15))
    booked(house, "Ben", DAY.replace(hour=9, minute=30), email="")
    for partstat, stamp, said in (
        ("", house.clock(), "Their calendar has not answered yet."),
        ("tentative", house.clock(), "Their calendar said maybe. Nothing proves that it was theirs."),
        ("accepted", None, ""),
    ):
        with house.ctx.db.write(house.shop_id) as unit:
            booking = bookings.get_booking(unit, asked.id)
            assert booking is not None
            bookings.mark(unit, booking, invite_stamp=stamp)
            bookings.note_answer(unit, booking, partstat=partstat, sequence=0, stamp=stamp)
        text = _text(_desk(app, house), "/pickups?day=2026-11-26")
        assert said in text and text.count("calendar") == (1 if said else 0), (partstat, text)


def test_today_renews_itself_unless_paused_and_another_day_does_not(house: Any, app: Flask) -> None:
    shelved_visit(house, "Ada")
    html = _html(_desk(app, house))
    assert 'data-live="1500"' in html and "/static/live.js" in html
    paused = _desk(app, house).get("/pickups?paused=1").get_data(as_text=True)
    assert "data-live" not in paused and "Let it renew itself" in paused
    other = _desk(app, house).get("/pickups?day=2026-12-01").get_data(as_text=True)
    assert "data-live" not in other and "/static/live.js" not in other and 'href="/pickups"' in other


def test_a_time_is_given_up_from_its_line_and_the_links_lead_to_the_days_beside(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    done, booking = booked(house, "Ada", DAY.replace(hour=9, minute=15))
    browser = _desk(app, house)
    html = browser.get("/pickups?day=2026-11-26").get_data(as_text=True)
    for beside in (date(2026, 11, 25), date(2026, 11, 27)):
        assert f'href="/pickups?day={beside}"' in html
    form = next(one for one in Reader(html).forms if one.action.endswith("/cancel"))
    answer = browser.post(form.action, {}, seen="/pickups?day=2026-11-26")
    assert answer.status_code == 303
    with house.read() as unit:
        assert bookings.live_booking(unit, done.visit_id) is None
        after = bookings.get_booking(unit, booking.id)
        assert after is not None and after.state == "cancelled"
    assert "The time was given up." in _text(_desk(app, house), "/pickups?day=2026-11-26")


def test_a_slot_that_the_clock_change_repeats_stands_there_twice(house: Any, app: Flask) -> None:
    """London, 25 October 2026: 01:00 to 02:00 comes twice (IANA data), so a night counter has eight more quarters."""
    set_up.add_special_day(house.ctx, house.actor(), date(2026, 10, 25), opens=time(0),
                           closes=time(4))  # fmt: skip
    set_clock(house, 2026, 10, 24, 12, 0)
    text = _text(_desk(app, house), "/pickups?day=2026-10-25")
    found = re.search(r"00:00 to 04:00 free, (\d+) places", text)
    assert found and int(found[1]) % 20 == 0, text  # five real hours of four quarters


def test_what_a_calendar_asks_stands_at_its_pickup_with_one_tap_for_each_decision(house: Any, app: Flask) -> None:
    set_clock(house, 2026, 11, 25, 20, 0)
    _, asked = booked(house, "Ada", DAY.replace(hour=9, minute=15))
    booked(house, "Ben", DAY.replace(hour=9, minute=30))
    wanted = datetime(2026, 11, 26, 15, 0, tzinfo=UTC)
    said = Said("COUNTER", "needs_action", 0, house.clock(), Decision.RECORD_PROPOSAL, wanted, wanted)
    with house.ctx.db.write(house.shop_id) as unit:
        answer = calendar_answers.add_answer(
            unit, booking_id=asked.id, visit_id=asked.visit_id, reply_id="", said=said, state="open", how="",
            at=house.clock(),
        )  # fmt: skip
    html = _desk(app, house).get("/pickups?day=2026-11-26").get_data(as_text=True)
    text = Reader(html).text
    assert text.index("Ada") < text.index("They ask for") < text.index("Ben")
    assert html.count(f'action="/calendar-answers/{answer}"') == 2
    pickup.book(house.ctx, house.actor(), asked.visit_id, DAY.replace(hour=16))
    moved = Reader(_desk(app, house).get("/pickups?day=2026-11-26").get_data(as_text=True)).text
    assert moved.index("Ada") > moved.index("Ben"), "the question went astray"

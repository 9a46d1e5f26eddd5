"""Changed hours on the pages: seen before they are kept, listed until decided; and a caller's time in two taps."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest

from notify.flows import set_up, view_hits
from notify.store import bookings, shops
from tests.flows.test_hits import booked, live
from tests.flows.test_pickup import THURSDAY, at, ready_visit, told
from tests.web.conftest import Browser
from tests.web.staff_pages import Form, Reader

pytestmark = pytest.mark.long


def read(client: Browser, path: str) -> Reader:
    answer = client.get(path)
    assert answer.status_code == 200, path
    return Reader(answer.get_data(as_text=True))


def press(client: Browser, form: Form, label: tuple[str, str] = ("", ""), **typed: str) -> Any:
    """Sends a form as a browser would, with one of its buttons."""
    data = {**dict(form.fields), **typed, **({label[0]: label[1]} if label[0] else {})}
    return client.open("POST", form.action, data=data)


def closing(client: Browser, **typed: str) -> Any:
    form = next(f for f in read(client, "/settings").forms if any(name == "reason" for name, _ in f.fields))
    usual = {"day": str(THURSDAY), "reason": "storm"}
    return press(client, form, ("", ""), **(usual | typed))


def test_closing_a_day_shows_who_is_hit_first_and_leads_to_the_list_when_agreed(signed_in: Browser, house: Any) -> None:
    visit_id = booked(house, at(10))
    asked = closing(signed_in)
    page = Reader(asked.get_data(as_text=True))
    assert asked.status_code == 409 and "One pickup would no longer fit. Nothing is changed yet." in page.text
    assert "Ines Farrow" in page.text and "+44 7700 900123" in page.text
    with house.read() as unit:
        assert shops.special_days(unit) == ()
    again = next(f for f in page.forms if ("agreed", "1", "") in f.buttons)
    kept = press(signed_in, again, ("agreed", "1"))
    assert kept.headers["Location"] == "/pickups/hit"
    listed = read(signed_in, "/pickups/hit")
    assert "The day is noted." in listed.text
    assert "One pickup no longer fits the hours. Nothing is moved unless you press it." in listed.text
    assert "Move to Friday, 27 November, 09:00" in listed.text and "Another time" in listed.text
    assert live(house, visit_id).local_start == "2026-11-26T10:00"
    assert "One pickup no longer fits the hours." in read(signed_in, "/").text


def settle(client: Browser, do: str) -> Any:
    form = next(
        f for f in read(client, "/pickups/hit").forms if f.action.endswith("/settle") and ("do", do) in f.fields
    )
    return press(client, form)


def test_each_decision_is_one_press_and_ends_the_question(signed_in: Browser, house: Any) -> None:
    moved, gone, stays = booked(house, at(10)), booked(house, at(11)), booked(house, at(12))
    house.deliver(after=91)
    set_up.add_special_day(house.ctx, house.actor(), THURSDAY)
    for visit_id, do in ((moved, "move"), (gone, "give_up"), (stays, "stays")):
        assert view_hits.view(house.ctx, house.actor())[0].visit_id == visit_id
        assert settle(signed_in, do).headers["Location"] == "/pickups/hit"
    assert "Every pickup fits the hours." in read(signed_in, "/pickups/hit").text
    assert live(house, moved).local_start == "2026-11-27T09:00" and live(house, gone) is None
    assert live(house, stays).local_start == "2026-11-26T12:00"
    assert [notice for notice, *_ in told(house, moved)][-1] == "pickup_moved"
    assert [notice for notice, *_ in told(house, gone)][-1] == "pickup_cancelled"


def test_an_old_page_of_decisions_moves_nothing_that_changed_meanwhile(signed_in: Browser, house: Any) -> None:
    visit_id = booked(house, at(10))
    set_up.add_special_day(house.ctx, house.actor(), THURSDAY)
    old = next(f for f in read(signed_in, "/pickups/hit").forms if ("do", "give_up") in f.fields)
    settle(signed_in, "move")
    press(signed_in, old)
    assert live(house, visit_id).local_start == "2026-11-27T09:00"
    assert "The pickup was changed in the meantime." in read(signed_in, "/pickups/hit").text


def test_staff_book_move_and_give_up_for_a_caller_in_two_taps(signed_in: Browser, house: Any) -> None:
    visit_id, ticket_id = ready_visit(house)
    ticket = signed_in.get(f"/tickets/{ticket_id}").get_data(as_text=True)
    link = re.findall(rf'href="(/visits/{visit_id}/book[^"]*)"', ticket)[0]  # the first tap
    for slot, said in (("2026-11-26T10:00/0", "booked"), ("2026-11-27T11:00/0", "moved")):
        page = read(signed_in, link)
        form = next(f for f in page.forms if ("slot", slot, "") in f.buttons)
        for _ in range(2):  # the second tap, and the same form sent again
            done = press(signed_in, form, ("slot", slot))
            assert done.headers["Location"] == f"/tickets/{ticket_id}"
            assert f"The pickup is {said}: " in read(signed_in, done.headers["Location"]).text
    with house.read() as unit:
        booking = bookings.live_booking(unit, visit_id)
        assert booking is not None and booking.revision == 1
    gone = next(f for f in read(signed_in, link).forms if ("give_up", "1", "") in f.buttons)
    for _ in range(2):
        press(signed_in, gone, ("give_up", "1"))
    assert live(house, visit_id) is None
    assert "The time is given up, and the customer is told." in read(signed_in, f"/tickets/{ticket_id}").text


def test_a_form_of_the_desk_that_was_used_refuses_another_time(signed_in: Browser, house: Any) -> None:
    visit_id, _ = ready_visit(house)
    form = next(
        f for f in read(signed_in, f"/visits/{visit_id}/book").forms if ("slot", "2026-11-26T10:00/0", "") in f.buttons
    )
    press(signed_in, form, ("slot", "2026-11-26T10:00/0"))
    refused = press(signed_in, form, ("slot", "2026-11-26T11:00/0"))
    assert "carried out already, with another time" in read(signed_in, refused.headers["Location"]).text
    assert live(house, visit_id).local_start == "2026-11-26T10:00"


def test_holidays_are_listed_by_name_and_each_can_be_opened(signed_in: Browser, house: Any) -> None:
    form = next(f for f in read(signed_in, "/settings").forms if f.action == "/settings/holidays")
    assert press(signed_in, form, holidays_of="gb-eng").headers["Location"] == "/settings"
    page = read(signed_in, "/settings")
    assert "Saturday, 26 December 2026: Boxing Day, closed" in page.text
    press(signed_in, next(f for f in page.forms if ("open", "2026-12-26", "") in f.buttons), ("open", "2026-12-26"))
    page = read(signed_in, "/settings")
    assert "Saturday, 26 December, open as usual" in page.text and "Boxing Day, as you noted above" in page.text
    wrong = press(signed_in, form, holidays_of="Quillhaven")
    assert wrong.status_code == 422 and "are not known" in wrong.get_data(as_text=True)
    with house.read() as unit:
        assert date(2026, 12, 26) in shops.get_counter(unit, house.ctx.shop(unit)).as_usual

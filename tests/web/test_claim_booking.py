"""Choosing a pickup time over HTTP: two presses, kind words when somebody was faster, nothing taken twice."""

from __future__ import annotations

import re
from datetime import date, time
from typing import Any

import pytest

from notify.flows import moves, pickup, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, events
from tests.flows.test_pickup import at, calendars, ready_visit
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser
from tests.web.test_claim_pages import text_of

pytestmark = pytest.mark.long

TEN = "2026-11-26T10:00/0"


def ready_link(house: Any, **whom: Any) -> tuple[str, str, str]:
    """A visit ready to be collected: (visit, ticket, path of its claim page)."""
    visit_id, ticket_id = ready_visit(house, **whom)
    return visit_id, ticket_id, f"/c/{token_of(house, ticket_id)}"


def live(house: Any, visit_id: str) -> Any:
    with house.read() as unit:
        return bookings.live_booking(unit, visit_id)


def hidden(html: str, name: str) -> str:
    return str(re.findall(rf'name="{name}" value="([^"]+)"', html)[0])


def press(client: Browser, path: str, slot: str, *, to: str = "book") -> Any:
    """What a customer does: opens the times, presses one."""
    page = client.get(f"{path}/slots").get_data(as_text=True)
    data = {"slot": slot, "once": hidden(page, "once")}
    return client.post(f"{path}/{to}", data, seen=f"{path}/slots")


def test_two_presses_from_the_claim_page_take_a_time_and_the_page_says_so(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    page = client.get(path).get_data(as_text=True)
    assert f'href="{path}/slots">Choose a pickup time</a>' in page
    times = client.get(f"{path}/slots").get_data(as_text=True)
    assert f'action="{path}/book"' in times and f'name="slot" value="{TEN}"' in times
    done = press(client, path, TEN)
    assert (done.status_code, done.headers["Location"]) == (303, f"{path}?said=booked")
    after = text_of(client.get(done.headers["Location"]))
    assert "Your time is kept." in after and "You collect tomorrow at 10:00." in after
    assert "Tramstop Bench, 3 Rope Walk, Quillhaven" in after and "Choose another time" in after
    assert live(house, visit_id).start_at.isoformat() == "2026-11-26T10:00:00+00:00"


def test_a_time_is_changed_and_given_up_with_one_press_each(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    press(client, path, TEN)
    times = text_of(client.get(f"{path}/slots"))
    assert "You have a time tomorrow at 10:00." in times
    assert f'action="{path}/move"' in client.get(f"{path}/slots").get_data(as_text=True)
    assert press(client, path, "2026-11-27T17:45/0", to="move").headers["Location"] == f"{path}?said=moved"
    assert "on Friday, 27 November, at 17:45" in text_of(client.get(path))
    for said in ("?said=cancelled", ""):
        gone = client.post(f"{path}/cancel", seen=path)
        assert gone.headers["Location"] == path + said
    assert live(house, visit_id) is None
    house.deliver(after=91)
    assert [(c.method.value, c.vevent.sequence.value) for c in calendars(house)] == []


def test_pressing_twice_or_sending_a_form_again_takes_one_place(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    page = client.get(f"{path}/slots").get_data(as_text=True)
    data = {"slot": TEN, "once": hidden(page, "once")}
    for _ in range(2):
        assert client.post(f"{path}/book", data, seen=f"{path}/slots").headers["Location"] == f"{path}?said=booked"
    press(client, path, "2026-11-26T11:00/0", to="move")
    client.post(f"{path}/book", data, seen=f"{path}/slots")  # the first form once more, late
    assert live(house, visit_id).local_start == "2026-11-26T11:00"
    with house.read() as unit:
        kinds = [e.kind for e in events.story_of(unit, visit_id=visit_id) if e.kind.startswith("pickup")]
    assert kinds == ["pickup_booked", "pickup_moved"]


def test_somebody_faster_is_said_kindly_and_the_own_time_stays(house: Any, client: Browser) -> None:
    for _ in range(2):
        other, _ = ready_visit(house)
        pickup.book(house.ctx, house.customer(), other, at(10))
    visit_id, _, path = ready_link(house)
    press(client, path, "2026-11-26T12:00/0")
    taken = press(client, path, TEN, to="move")
    assert (taken.status_code, taken.headers["Location"]) == (303, f"{path}/slots?said=taken")
    page = text_of(client.get(taken.headers["Location"]))
    assert "Somebody took that time just before you. Please choose another." in page
    assert "You have a time tomorrow at 12:00." in page
    assert live(house, visit_id).local_start == "2026-11-26T12:00"


NOT_OFFERED = (
    "", "now", "x" * 5000, "2026-11-26T10:07/0", "2026-11-25T09:15/0", "2026-11-29T10:00/0", "2027-06-01T10:00/0",
    "2026-11-26T10:00/7", "2026-11-26T10:00",
)  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("slot", NOT_OFFERED)
def test_a_time_that_is_not_on_offer_is_refused_with_the_list(house: Any, client: Browser, slot: str) -> None:
    visit_id, _, path = ready_link(house)
    answer = press(client, path, slot)
    assert answer.headers["Location"] == f"{path}/slots?said=gone" and live(house, visit_id) is None
    assert "That time is no longer offered." in text_of(client.get(answer.headers["Location"]))


def test_a_day_closed_after_the_list_was_shown_is_refused_kindly(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    client.get(f"{path}/slots")
    set_up.add_special_day(house.ctx, house.actor(), date(2026, 11, 26), reason="storm")
    answer = client.post(f"{path}/book", {"slot": TEN}, seen=f"{path}/slots")
    assert answer.headers["Location"].endswith("said=gone") and live(house, visit_id) is None
    assert "Thursday, 26 November: closed" in text_of(client.get(path))


def test_when_the_device_went_back_to_the_bench_the_page_says_how_things_stand(house: Any, client: Browser) -> None:
    _, ticket_id, path = ready_link(house)
    press(client, path, TEN)
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", reason="fault_seen_again")
    late = client.post(f"{path}/move", {"slot": "2026-11-26T11:00/0"}, seen=path)
    assert late.headers["Location"] == f"{path}?said=not_ready"
    page = text_of(client.get(late.headers["Location"]))
    assert "Nothing is ready to be collected any more." in page
    assert "We had to give your pickup time up." in page and "Choose a pickup time" not in page


def test_without_any_free_time_the_customer_may_simply_come_by(house: Any, client: Browser) -> None:
    for weekday in range(6):
        set_up.add_hours(house.ctx, house.actor(), weekday=weekday, opens=time(9), closes=time(18), capacity=0)
    _, _, path = ready_link(house)
    assert "You can collect whenever we are open." in text_of(client.get(path))
    assert "No time is free in the coming days." in text_of(client.get(f"{path}/slots"))


def test_a_time_that_has_passed_is_not_spoken_of_as_to_come(house: Any, client: Browser) -> None:
    _, _, path = ready_link(house)
    press(client, path, TEN)
    house.clock.advance(26 * 3600)
    assert "Your pickup time was today at 10:00." in text_of(client.get(path))


def test_the_last_of_several_places_is_marked_and_days_fold(house: Any, client: Browser) -> None:
    other, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), other, at(10))
    _, _, path = ready_link(house)
    html = client.get(f"{path}/slots").get_data(as_text=True)
    assert html.count("last place") == 1 and html.count("<details") > 10
    assert html.count('<details class="day" open') == 2


def test_german_pages_book_in_german(house: Any, client: Browser) -> None:
    done = house.check_in(DeviceForm("Otter", device_class="camera"), language="de")
    shelve(house, done.ticket_ids[0])
    path = f"/c/{token_of(house, done.ticket_ids[0])}"
    press(client, path, TEN)
    page = text_of(client.get(f"{path}?said=booked"))
    assert "Ihre Kamera ist repariert und liegt für Sie bereit." in page
    assert "Die Zeit gehört Ihnen." in page and "Sie kommen morgen um 10:00 Uhr zum Abholen." in page

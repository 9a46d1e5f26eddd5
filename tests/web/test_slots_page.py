"""The page of pickup times says what helps to choose: parts of the day, full days, from when all can be collected."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest

from notify.flows import pickup, promises, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.claim_shown import Speech
from notify.flows.view_slots import view_slots
from notify.render.moments import Moments
from tests.flows.test_pickup import FRIDAY, THURSDAY, at, ready_visit
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser
from tests.web.test_claim_booking import hidden, live, ready_link
from tests.web.test_claim_pages import text_of

pytestmark = pytest.mark.long


def seen(house: Any, ticket_id: str) -> Any:
    """What the page shows."""
    speech = Speech(house.services.words.get, house.services.page_words.get)
    return view_slots(house.ctx, token_of(house, ticket_id), speech)


# Unicode CLDR, dayPeriods of en, de and it: how each language cuts its day (from memory, and as people say it).
PARTS = [
    ("en", 9, "tomorrow, 9:15 in the morning"), ("en", 12, "tomorrow, 12:15 in the afternoon"),
    ("en", 18, "tomorrow, 18:15 in the evening"), ("de", 9, "morgen, 9:15 Uhr morgens"),
    ("de", 10, "morgen, 10:15 Uhr vormittags"), ("de", 12, "morgen, 12:15 Uhr mittags"),
    ("de", 15, "morgen, 15:15 Uhr nachmittags"), ("de", 19, "morgen, 19:15 Uhr abends"),
    ("it", 9, "domani alle 9:15 di mattina"), ("it", 15, "domani alle 15:15 del pomeriggio"),
    ("it", 19, "domani alle 19:15 di sera"),
]  # fmt: skip


@pytest.mark.parametrize(("language", "hour", "said"), PARTS)
def test_a_time_is_told_with_its_part_of_the_day_in_each_language(
    house: Any, language: str, hour: int, said: str
) -> None:
    moments = Moments(house.services.page_words.get(language), "Europe/London", house.clock())
    assert moments.spoken(datetime.combine(THURSDAY, time(hour, 15), UTC)) == said


def test_noon_and_midnight_belong_to_a_part_of_the_day_like_any_other_time(house: Any) -> None:
    moments = Moments(house.services.page_words.get("en"), "Europe/London", house.clock())
    assert moments.part(datetime(2026, 11, 26, 12, 0, tzinfo=UTC)) == "in the afternoon"
    midnight = datetime(2026, 11, 26, 0, 0, tzinfo=UTC)
    assert moments.part(midnight) == moments.part(midnight + timedelta(minutes=15)) != "midnight"


def test_the_soonest_time_stands_above_days_with_free_places_by_part_of_the_day(house: Any, client: Browser) -> None:
    _, ticket_id, path = ready_link(house)
    view = seen(house, ticket_id)
    first = view.days[0].parts[0].times[0]
    assert view.soonest == f"The soonest: today, {first.label.lstrip('0')} in the morning."
    assert [part.label for part in view.days[1].parts] == ["In the morning", "In the afternoon"]
    assert "The soonest: today," in text_of(client.get(f"{path}/slots"))
    assert [day.is_open for day in view.days[:3]] == [True, True, False]


def test_fully_booked_days_are_one_sentence_and_a_day_with_the_own_time_is_none(house: Any) -> None:
    for day in (THURSDAY, FRIDAY):
        set_up.add_special_day(house.ctx, house.actor(), day, opens=time(10), closes=time(10, 15), capacity=1)
    mine, ticket_id = ready_visit(house)
    pickup.book(house.ctx, house.customer(), ready_visit(house)[0], at(10))
    view = seen(house, ticket_id)
    assert view.full == "Fully booked: Thursday, 26 November."
    assert all("26 November" not in day.label for day in view.days)
    pickup.book(house.ctx, house.customer(), mine, at(10, 0, FRIDAY))
    assert seen(house, ticket_id).full == "Fully booked: Thursday, 26 November."


def test_what_is_still_in_work_is_said_and_marks_from_when_all_can_be_collected(house: Any) -> None:
    done = house.check_in(DeviceForm("Kestrel"), DeviceForm("Otter camera", device_class="camera"))
    shelve(house, done.ticket_ids[0])
    assert "we cannot say yet when it is done" in seen(house, done.ticket_ids[0]).together
    promises.promise(house.ctx, house.actor(), done.ticket_ids[1], datetime(2026, 11, 27, 11, 20, tzinfo=UTC))
    view = seen(house, done.ticket_ids[0])
    assert view.together.startswith("We expect the rest of what you brought on Friday, 27 November, by 11:20.")
    marked = [t.value for d in view.days for p in d.parts for t in p.times if t.note]
    assert marked == ["2026-11-27T11:30/0"]
    assert [day.is_open for day in view.days[:5]] == [False, False, True, True, False]
    assert view.days[0].parts[0].times, "earlier times stay possible"
    shelve(house, done.ticket_ids[1])
    assert seen(house, done.ticket_ids[0]).together == ""


def test_a_promise_that_has_passed_promises_nothing_more(house: Any) -> None:
    done = house.check_in(DeviceForm("Kestrel"), DeviceForm("Otter camera", device_class="camera"))
    shelve(house, done.ticket_ids[0])
    promises.promise(house.ctx, house.actor(), done.ticket_ids[1], house.clock() + timedelta(minutes=5))
    house.clock.advance(600)
    assert "we cannot say yet" in seen(house, done.ticket_ids[0]).together


def test_the_hour_that_comes_twice_is_told_apart_in_words(house: Any) -> None:
    """London's clock goes from 02:00 back to 01:00 on 25 October 2026 (IANA)."""
    night = date(2026, 10, 25)
    house.clock.advance((datetime(2026, 10, 24, 12, tzinfo=UTC) - house.clock()).total_seconds())
    set_up.add_special_day(house.ctx, house.actor(), night, opens=time(0), closes=time(3), capacity=1)
    view = seen(house, ready_visit(house)[1])
    day = next(day for day in view.days if "25 October" in day.label)
    notes = {t.value[-7:]: t.note for p in day.parts for t in p.times if t.note}
    assert notes["01:00/0"] == "before the clock goes back" and notes["01:00/1"] == "after the clock went back"
    assert len(notes) == 8 and "02:00/0" not in notes


def test_a_list_used_once_refuses_another_time_kindly_and_shows_how_things_stand(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    page = client.get(f"{path}/slots").get_data(as_text=True)
    for slot, said in (
        ("2026-11-26T10:00/0", f"{path}?said=booked"),
        ("2026-11-26T11:00/0", f"{path}/slots?said=old_list"),
    ):
        done = client.post(f"{path}/book", {"slot": slot, "once": hidden(page, "once")}, seen=f"{path}/slots")
        assert done.headers["Location"] == said
    assert "That list of times was from before." in text_of(client.get(f"{path}/slots?said=old_list"))
    assert live(house, visit_id).local_start == "2026-11-26T10:00"


def test_giving_up_from_an_old_page_gives_up_no_newer_time(house: Any, client: Browser) -> None:
    visit_id, _, path = ready_link(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    mark = hidden(client.get(path).get_data(as_text=True), "once")
    client.post(f"{path}/cancel", {"once": mark}, seen=path)
    pickup.book(house.ctx, house.customer(), visit_id, at(12))
    client.post(f"{path}/cancel", {"once": mark}, seen=path)
    assert live(house, visit_id).local_start == "2026-11-26T12:00"

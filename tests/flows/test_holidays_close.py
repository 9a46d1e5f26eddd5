"""A shop that follows public holidays: every face agrees on what is open, and the shop's own list wins."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from notify.core.errors import Conflict, Invalid
from notify.core.hours import spans_on
from notify.dispatch.said import Saying, gather_said
from notify.flows import pickup, set_up, view_hours, view_settings
from notify.store import messages, shops
from tests.flows.test_pickup import ready_visit

CHRISTMAS, BOXING, MONDAY = date(2026, 12, 25), date(2026, 12, 26), date(2026, 12, 28)  # Friday, Saturday, Monday


@pytest.fixture
def december(house: Any) -> Any:
    """A house a few days before Christmas 2026 that follows the holidays of England."""
    house.clock.advance((datetime(2026, 12, 22, 9, tzinfo=house.clock().tzinfo) - house.clock()).total_seconds())
    set_up.change_settings(house.ctx, house.actor(), {"holidays_of": "gb-eng", "horizon_days": 10})
    return house


def open_days(house: Any) -> list[date]:
    """Which days of that week the counter has hours on."""
    with house.read() as unit:
        counter = shops.get_counter(unit, house.ctx.shop(unit))
        return [day for day in (date(2026, 12, 23) + timedelta(days=n) for n in range(7)) if spans_on(counter, day)]


def offered_days(house: Any, visit_id: str) -> set[date]:
    return {offer.slot.local.date() for offer in pickup.offers(house.ctx, house.customer(), visit_id)}


def test_nobody_is_offered_a_holiday_and_no_booking_gets_onto_one(december: Any) -> None:
    visit_id, _ = ready_visit(december)
    assert open_days(december) == [date(2026, 12, d) for d in (23, 24, 29)]
    assert not offered_days(december, visit_id) & {CHRISTMAS, BOXING, MONDAY}
    with pytest.raises(Invalid):
        pickup.book(december.ctx, december.customer(), visit_id, datetime.combine(CHRISTMAS, time(10)))


def test_a_saturday_that_gov_uk_does_not_list_is_opened_with_one_press(december: Any) -> None:
    """gov.uk lists 28 December 2026 as the substitute of Boxing Day and not Saturday 26 December (vectors/forecast)."""
    visit_id, _ = ready_visit(december)
    new = set_up.open_as_usual(december.ctx, december.actor(), BOXING)
    assert BOXING in open_days(december) and BOXING in offered_days(december, visit_id)
    assert MONDAY not in open_days(december)
    with pytest.raises(Conflict):
        set_up.open_as_usual(december.ctx, december.actor(), BOXING)
    set_up.drop_special_day(december.ctx, december.actor(), new)
    assert BOXING not in open_days(december)


def test_special_hours_open_a_holiday_and_a_closed_day_stays_closed(december: Any) -> None:
    set_up.add_special_day(december.ctx, december.actor(), BOXING, opens=time(10), closes=time(12))
    set_up.open_as_usual(december.ctx, december.actor(), MONDAY)
    set_up.add_special_day(december.ctx, december.actor(), MONDAY, reason="stocktaking")
    with december.read() as unit:
        counter = shops.get_counter(unit, december.ctx.shop(unit))
        hours = [(s.start_utc.hour, s.end_utc.hour) for s in spans_on(counter, BOXING)]
    assert hours == [(10, 12)] and MONDAY not in open_days(december)


def test_messages_the_door_and_the_settings_page_say_the_same(december: Any) -> None:
    visit_id, _ = ready_visit(december)
    december.clock.advance(
        (datetime(2026, 12, 24, 19, tzinfo=december.clock().tzinfo) - december.clock()).total_seconds()
    )
    words = december.services.page_words.get("en")
    door = view_hours.view_door(december.ctx, december.shop_id, words)
    assert any("25 December: closed" in line for line in door.hours)
    with december.read() as unit:
        message = next(m for m in messages.messages_of_visit(unit, visit_id) if m.notice == "ready")
        saying = Saying("https://bell.example.org", "en", december.services.words.get("en"))
        said = gather_said(unit, message, shop=december.ctx.shop(unit), now=december.clock(), saying=saying)
    assert said["shop"]["hours"].startswith("Tuesday, 29 December")
    seen = view_settings.view(december.ctx, december.actor())
    assert [(one.day, one.name, one.is_closed) for one in seen.holidays][:2] == [
        (CHRISTMAS, "Christmas Day", True), (BOXING, "Boxing Day", True)]  # fmt: skip
    assert seen.holidays_silent == "" and seen.holidays[-1].day < date(2027, 12, 25)


def test_the_next_year_has_its_own_holidays(december: Any) -> None:
    """1 January 2027 is a Friday; gov.uk lists it (vectors/forecast)."""
    with december.read() as unit:
        counter = shops.get_counter(unit, december.ctx.shop(unit))
    assert spans_on(counter, date(2027, 1, 1)) == () and spans_on(counter, date(2027, 1, 2)) != ()


def test_a_place_that_is_not_known_is_refused_by_its_field(house: Any) -> None:
    with pytest.raises(Invalid) as refused:
        set_up.change_settings(house.ctx, house.actor(), {"holidays_of": "Quillhaven"})
    assert refused.value.field == "holidays_of"
    set_up.change_settings(house.ctx, house.actor(), {"holidays_of": ""})


def test_a_holiday_setting_that_counts_from_tomorrow_closes_nothing_today(december: Any) -> None:
    """Settings are dated rows; the counter that was read before the day is not kept past it."""
    set_up.change_settings(december.ctx, december.actor(), {"holidays_of": ""})
    assert CHRISTMAS in open_days(december)
    set_up.change_settings(december.ctx, december.actor(), {"holidays_of": "GB-ENG"}, valid_from=date(2026, 12, 23))
    assert CHRISTMAS in open_days(december)
    december.clock.advance(86_400)
    assert CHRISTMAS not in open_days(december)

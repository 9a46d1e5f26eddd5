"""What a shop sets for itself by a slip of the pen is refused, and what is taken never stops a page or the clock."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from notify.core.errors import Invalid
from notify.core.shop import SHOP_SETTINGS
from notify.flows import forget, keep_rules, pickup, questions, reminders, set_up
from notify.flows.view_settings import view
from tests.parts.shelved import shelve

pytestmark = pytest.mark.long  # together some seconds of one core

SLIPS = (
    ("keep_period", "P60D"), ("delegate_keep_days", "3"), ("currency", "quid"),
    ("region", "Narnia"), ("region", "G"), ("name", ""), ("name", " \x00 "), ("name", "x" * 81), ("zone", "../etc"),
    ("address", "x" * 501), ("slot_minutes", "0"), ("lead_minutes", "-1"), ("horizon_days", "9" * 5000),
    ("collection_days", "3,,4"), ("email", "a@example.org, b@example.org"), ("phone", "call us"), ("colour", "red"),
)  # fmt: skip


@pytest.mark.parametrize(("key", "value"), SLIPS)
def test_a_setting_that_cannot_be_meant_is_refused_with_its_name(key: str, value: str, house: Any) -> None:
    with pytest.raises(Invalid) as refused:
        set_up.change_settings(house.ctx, house.actor(), {key: value})
    assert refused.value.field == key and refused.value.advice


@pytest.mark.parametrize("key", [key for key, one in SHOP_SETTINGS.items() if isinstance(one.default, int | list)])
def test_the_highest_figure_of_each_setting_stops_neither_page_nor_clock(key: str, house: Any) -> None:
    highest = 240 if key == "slot_minutes" else SHOP_SETTINGS[key].most
    with pytest.raises(Invalid):
        set_up.change_settings(house.ctx, house.actor(), {key: str(highest + 1)})
    set_up.change_settings(house.ctx, house.actor(), {key: str(highest)})
    visit = house.check_in()
    questions.ask(house.ctx, house.actor(), visit.ticket_ids[0], kind="give_back", wording="Stop?")
    shelve(house, visit.ticket_ids[0])
    pickup.offers(house.ctx, house.actor(), visit.visit_id)
    reminders.remind_due(house.ctx, house.system())
    reminders.remind_collection(house.ctx, house.system())
    assert view(house.ctx, house.actor()).shop.id == house.shop_id


def test_the_longest_period_taken_leaves_every_reckoning_of_it_possible(house: Any) -> None:
    keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P500Y")
    house.check_in()
    assert forget.forget(house.ctx, house.system(), dry_run=True).due == ()


def test_a_name_with_line_ends_becomes_one_line_and_mail_still_leaves(house: Any) -> None:
    named = {"name": "Tram\r\nBcc: x@example.net", "address": "3 Rope Walk\r\nQuay\x1b[31m"}
    set_up.change_settings(house.ctx, house.actor(), named)
    shop = view(house.ctx, house.actor()).shop
    assert shop.name == "Tram Bcc: x@example.net" and shop.address == "3 Rope Walk\nQuay [31m"
    house.check_in()
    house.deliver(after=91)
    (mail,) = house.sent("email")
    assert b"\r\nBcc:" not in mail.payload and b"Bcc: x@example.net" in mail.payload


@pytest.mark.parametrize("year", [1, 1999, 2101, 9999])
def test_a_closed_day_of_another_century_is_refused(year: int, house: Any) -> None:
    with pytest.raises(Invalid) as refused:
        set_up.add_special_day(house.ctx, house.actor(), date(year, 12, 31))
    assert refused.value.field == "day"
    set_up.add_special_day(house.ctx, house.actor(), house.clock().date() + timedelta(days=9))

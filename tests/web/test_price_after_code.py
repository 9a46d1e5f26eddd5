"""A price above the shop's limit is shown in this browser, for a quarter of an hour, after a code to the contact."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask

from notify.flows import contact_codes, desk_notes, questions, set_up
from notify.store import questions as question_rows
from notify.web.claim.kept import kept_pages
from notify.web.claim.unlocked import LASTS
from tests.flows.test_contact_codes import code_in, other
from tests.parts.shelved import token_of
from tests.web.conftest import Browser

pytestmark = pytest.mark.long  # together some seconds of one core


class Asked:
    """A customer with an open question about a price of 80, above the limit of 50, and two browsers."""

    def __init__(self, app: Flask, house: Any, **whom: Any) -> None:
        self.app, self.house = app, house
        set_up.change_settings(house.ctx, house.actor(), {"code_above": 5000})
        done = house.check_in(**whom)
        self.visit_id, self.ticket_id = done.visit_id, done.ticket_ids[0]
        self.question = questions.ask(house.ctx, house.actor(), self.ticket_id, kind="price",
                                      wording="It costs eighty pounds. Go on?", price="80")  # fmt: skip
        self.home = f"/c/{token_of(house, self.ticket_id)}"
        self.mine, self.theirs = Browser(app), Browser(app)

    def page(self, browser: Browser | None = None) -> str:
        return (browser or self.mine).get(self.home).get_data(as_text=True)

    def send(self) -> str:
        self.mine.post(f"{self.home}/send-code", seen=self.home)
        self.house.deliver()
        return code_in(next(one for one in reversed(self.house.sent("sms")) if b"your code is" in one.payload))

    def unlock(self) -> Any:
        code = self.send()
        return self.mine.post(f"{self.home}/code", {"code": code}, seen=f"{self.home}/code")

    def answer(self, browser: Browser) -> Any:
        form = {"question": self.question, "answer": "accept"}
        return browser.post(f"{self.home}/answer", form, seen=self.home)

    def state(self) -> str:
        with self.house.read() as unit:
            return str(question_rows.get_question(unit, self.question).state)


@pytest.fixture
def asked(app: Flask, house: Any) -> Asked:
    return Asked(app, house)


def test_the_code_shows_price_and_wording_and_the_answer_counts(asked: Asked) -> None:
    before = asked.page()
    assert "£80" not in before and "eighty" not in before and "+44 •••• ••• 123" in before and "send-code" in before
    assert asked.answer(asked.mine).headers["Location"].endswith("too_late") and asked.state() == "open"
    right = asked.unlock()
    assert right.status_code == 303 and right.headers["Location"].startswith(asked.home)
    assert "£80.00" in asked.page() and "eighty pounds" in asked.page()
    assert "code" not in right.headers["Location"].partition("?")[2].replace("code_right", "")
    assert asked.answer(asked.mine).headers["Location"].endswith("answered") and asked.state() == "answered"


def test_another_browser_with_the_same_link_sees_and_answers_nothing(asked: Asked) -> None:
    asked.unlock()
    assert "£80" in asked.page() and "£80" not in asked.page(asked.theirs)
    asked.answer(asked.theirs)
    assert asked.state() == "open"


def test_it_is_over_after_a_quarter_of_an_hour_whatever_the_browser_keeps(asked: Asked) -> None:
    asked.unlock()
    (cookie,) = (c for c in (asked.mine.http._cookies or {}).values() if c.key.endswith("shelfbell-code"))
    assert cookie.http_only and cookie.secure and cookie.max_age == LASTS.total_seconds()
    asked.house.clock.advance(LASTS.total_seconds() - 1)
    assert "£80" in asked.page()
    asked.house.clock.advance(1)
    assert "£80" not in asked.page()
    asked.answer(asked.mine)
    assert asked.state() == "open"


@pytest.mark.parametrize("spoilt", ["", "9999999999.x", "x", "1.", "99999999999999999999.aa", "٣.x"])
def test_a_cookie_that_we_did_not_make_unlocks_nothing(asked: Asked, spoilt: str) -> None:
    asked.mine.http.set_cookie("__Host-shelfbell-code", spoilt, domain="bell.example.org", secure=True)
    answer = asked.mine.get(asked.home)
    assert answer.status_code == 200 and b"\xc2\xa380" not in answer.data


def test_the_cookie_of_one_link_opens_no_other_and_none_after_it_was_replaced(app: Flask, asked: Asked) -> None:
    asked.unlock()
    other_one = Asked(app, asked.house, phone="07700 900321")
    assert "£80" not in other_one.page(asked.mine)
    desk_notes.replace_claim_link(asked.house.ctx, asked.house.actor(), asked.ticket_id)
    asked.home = f"/c/{token_of(asked.house, asked.ticket_id)}"
    assert "£80" not in asked.page()


def test_an_unlocked_page_is_never_kept_nor_made_of_a_kept_one(asked: Asked) -> None:
    asked.page()
    asked.unlock()
    with asked.app.app_context():
        before = len(kept_pages())
        assert "£80" in asked.page()
        assert len(kept_pages()) <= before
    assert "£80" not in asked.page(asked.theirs)


def test_a_wrong_code_says_so_and_a_third_request_in_a_row_is_put_off(asked: Asked) -> None:
    code = asked.send()
    wrong = asked.mine.post(f"{asked.home}/code", {"code": other(code)}, seen=f"{asked.home}/code")
    assert wrong.status_code == 422 and "not the code" in wrong.get_data(as_text=True)
    short = asked.mine.post(f"{asked.home}/code", {"code": "12"}, seen=f"{asked.home}/code")
    assert short.status_code == 422 and "eight digits" in short.get_data(as_text=True)
    ends = [asked.mine.post(f"{asked.home}/send-code", seen=asked.home).headers["Location"] for _ in range(3)]
    assert [end.partition("said=")[2] for end in ends] == ["code_sent", "code_sent", "code_too_often"]
    assert "£80" not in asked.page()


def test_without_a_contact_the_price_is_told_by_phone_as_before(app: Flask, house: Any) -> None:
    silent = Asked(app, house, phone="", email="")
    page = silent.page()
    assert "please call us" in page and "send-code" not in page and "eighty" not in page
    refused = silent.mine.post(f"{silent.home}/send-code", seen=silent.home)
    assert refused.headers["Location"].endswith("no_code")


def test_a_code_for_a_lost_ticket_shows_no_price(asked: Asked) -> None:
    contact_codes.send_code(asked.house.ctx, asked.house.actor(), asked.visit_id, purpose="lost_ticket")
    asked.house.deliver()
    code = code_in(asked.house.sent("sms")[-1])
    asked.mine.post(f"{asked.home}/code", {"code": code}, seen=f"{asked.home}/code")
    assert "£80" not in asked.page()


def test_a_look_at_the_page_of_the_code_sends_none(asked: Asked) -> None:
    page = asked.mine.get(f"{asked.home}/code").get_data(as_text=True)
    asked.house.deliver()
    assert "No code is waiting" in page and not [m for m in asked.house.sent("sms") if b"code is" in m.payload]

"""What we keep about you: nothing without the code, all of it with it, for a quarter of an hour in one browser."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import select

from notify.core.claim_number import show_number
from notify.flows import contact_codes, desk_notes, forget, keep_rules, reach, requests
from notify.flows.check_in_form import DeviceForm
from notify.flows.view_ticket_print import claim_ticket
from notify.store import requests as rows
from notify.store import schema
from notify.web.claim.unlocked import LASTS
from tests.flows.test_contact_codes import code_in, other
from tests.parts.shelved import token_of
from tests.web.conftest import Browser, sign_in

pytestmark = pytest.mark.long

ADDRESS = "ines@example.org"


class Asking:
    """A customer with a claim link, and two browsers."""

    def __init__(self, app: Flask, house: Any, **whom: Any) -> None:
        self.app, self.house = app, house
        done = house.check_in(**whom)
        self.visit_id, self.ticket_id = done.visit_id, done.ticket_ids[0]
        self.home = f"/c/{token_of(house, self.ticket_id)}"
        self.page = f"{self.home}/rights"
        self.mine, self.theirs = Browser(app), Browser(app)
        with house.read() as unit:
            t = schema.tickets
            self.person = unit.connection.execute(select(t.c.person_id).where(t.c.id == self.ticket_id)).scalar_one()

    def look(self, browser: Browser | None = None, path: str = "") -> str:
        return (browser or self.mine).get(path or self.page).get_data(as_text=True)

    def send(self) -> str:
        self.mine.post(f"{self.page}/send-code", seen=self.page)
        self.house.deliver()
        return code_in(next(one for one in reversed(self.house.sent("sms")) if b"your code is" in one.payload))

    def unlock(self) -> Any:
        code = self.send()
        return self.mine.post(f"{self.page}/code", {"code": code}, seen=self.page)

    def ask(self, kind: str, note: str = "", browser: Browser | None = None) -> str:
        form = {"kind": kind, "note": note}
        answer = (browser or self.mine).post(f"{self.page}/ask", form, seen=self.page)
        return str(answer.headers["Location"]).partition("said=")[2]

    def copy(self, browser: Browser | None = None) -> Any:
        return (browser or self.mine).post(f"{self.page}/copy", seen=self.page)

    def rows(self) -> list[Any]:
        with self.house.read() as unit:
            return list(rows.requests_of(unit, self.person))


@pytest.fixture
def asking(app: Flask, house: Any) -> Asking:
    return Asking(app, house)


def test_the_code_opens_everything_and_only_a_copy_taken_is_an_answered_request(asking: Asking) -> None:
    assert ADDRESS not in asking.look() and asking.rows() == []
    assert asking.unlock().status_code == 303
    page = asking.look()
    assert ADDRESS in page and "07700" not in asking.home and "Ines Farrow" in page and "Kestrel pocket radio" in page
    assert asking.rows() == []  # to look is no request (GDPR art. 15(3): a copy is provided)
    asking.copy()
    answer = asking.copy()
    assert json.loads(answer.get_data())["person"][0]["name"] == "Ines Farrow" and answer.mimetype == "application/json"
    assert "no-store" in answer.headers["Cache-Control"] and 'name="robots" content="noindex' in page
    (one,) = asking.rows()  # the second copy of a day is none
    assert (one.kind, one.state, one.how) == ("access", "done", "claim_page") and one.proved_at == one.ended_at


def test_whoever_has_the_link_alone_gets_nothing_changes_nothing_and_asks_for_nothing(asking: Asking) -> None:
    code = asking.send()
    for _ in range(3):
        wrong = asking.theirs.post(f"{asking.page}/code", {"code": other(code)}, seen=asking.page)
        assert wrong.status_code == 422 and ADDRESS not in wrong.get_data(as_text=True)
    asking.mine.post(f"{asking.page}/code", {"code": code}, seen=asking.page)
    assert ADDRESS in asking.look() and ADDRESS not in asking.look(asking.theirs)
    again = asking.theirs.post(f"{asking.page}/code", {"code": code}, seen=asking.page)
    assert again.status_code == 422  # a code counts once
    assert asking.copy(asking.theirs).status_code == 303
    assert asking.ask("erasure", browser=asking.theirs) == "" and asking.rows() == []


def test_it_closes_after_a_quarter_of_an_hour_and_when_the_link_is_replaced(asking: Asking) -> None:
    asking.unlock()
    asking.house.clock.advance(LASTS.total_seconds() - 1)
    assert ADDRESS in asking.look()
    asking.house.clock.advance(1)
    assert ADDRESS not in asking.look()
    asking.unlock()
    desk_notes.replace_claim_link(asking.house.ctx, asking.house.actor(), asking.ticket_id)
    assert asking.mine.get(asking.page).status_code == 404


def test_neither_a_code_for_a_price_nor_the_page_of_another_visit_opens_it(app: Flask, asking: Asking) -> None:
    asking.unlock()
    second = Asking(app, asking.house, name="Noor Vale", phone="07700 900321", email="noor@example.org")
    assert "noor@example.org" not in second.look(asking.mine)
    kept = asking.mine.http.get_cookie("__Host-shelfbell-rights", domain="bell.example.org")
    assert kept is not None and kept.http_only and kept.secure
    second.mine.http.set_cookie("__Host-shelfbell-rights", kept.value, domain="bell.example.org", secure=True)
    assert "noor@example.org" not in second.look()
    contact_codes.send_code(asking.house.ctx, asking.house.customer(), second.visit_id, purpose="price")
    asking.house.deliver()
    code = code_in(asking.house.sent("sms")[-1])
    second.mine.post(f"{second.home}/code", {"code": code}, seen=f"{second.home}/code")
    assert "noor@example.org" not in second.look()


def test_it_shows_every_visit_of_the_same_name_and_the_contact_that_was_proved_and_nobody_elses(
    app: Flask, asking: Asking
) -> None:
    """GDPR art. 15(1): all of it, whatever the visit; 15(4): not at the cost of others. The code goes to the number."""
    house = asking.house
    mine = house.check_in(DeviceForm("Fenlight reader"), name="ines  farrow", email="other@example.org")
    house.check_in(DeviceForm("Otter camera"), name="Tam Farrow", email="")  # the same number, somebody else
    bait = Asking(app, house, name="Ines Farrow", phone="07700 900666", email=ADDRESS)  # her address, another's number
    asking.unlock()
    page, copy = asking.look(), json.loads(asking.copy().get_data())
    for said in ("Kestrel pocket radio", "Fenlight reader", "other@example.org"):
        assert said in page and said in json.dumps(copy)
    for hidden in ("Otter", "Tam Farrow", "900666"):
        assert hidden not in page and hidden not in json.dumps(copy)
    assert [one["state"] for one in copy["kept"]] == ["open", "open"]
    assert copy["kept"][1]["numbers"] == [show_number(one) for one in mine.numbers]
    assert "All else counts for the visit of this claim ticket" in page
    bait.unlock()
    assert "Fenlight" not in bait.look() and "other@example.org" not in bait.look() and ADDRESS in bait.look()


def test_a_contact_that_was_changed_an_hour_ago_gets_no_code_and_without_one_the_counter_helps(
    app: Flask, asking: Asking
) -> None:
    house = asking.house
    house.clock.advance(2 * 3600)
    with_new = Asking(app, house, phone="", email="pat@example.org", name="Pat Quay")
    house.deliver(after=91)
    house.clock.advance(2 * 3600)
    reach.set_contact(house.ctx, house.actor(), with_new.visit_id, with_new.person, channel="email",
                      address="thief@example.org")  # fmt: skip
    house.clock.advance(3600)
    refused = with_new.mine.post(f"{with_new.page}/send-code", seen=with_new.page)
    assert refused.headers["Location"].endswith("rights_no_code")
    assert "counter" in with_new.look() and "send-code" not in with_new.look()


def test_a_press_and_its_double_are_one_request_that_can_be_taken_back(asking: Asking) -> None:
    asking.unlock()
    assert [asking.ask("erasure"), asking.ask("erasure"), asking.ask("correction"), asking.ask("nonsense")] == [
        "rights_asked", "rights_asked", "rights_no_words", "rights_no_words",
    ]  # fmt: skip
    (one,) = [row for row in asking.rows() if row.state == "open"]
    assert one.proved_at is not None and "a device of yours is still with us" in asking.look()
    taken = asking.mine.post(f"{asking.page}/withdraw", {"request": one.id}, seen=asking.page)
    assert taken.headers["Location"].endswith("rights_withdrawn")
    late = asking.mine.post(f"{asking.page}/withdraw", {"request": one.id}, seen=asking.page)
    assert late.headers["Location"].endswith("rights_gone")


def test_nobody_takes_back_what_another_one_asked(app: Flask, asking: Asking) -> None:
    asking.unlock()
    second = Asking(app, asking.house, name="Noor Vale", phone="07700 900321", email="noor@example.org")
    made = requests.ask(asking.house.ctx, asking.house.actor(), second.visit_id, second.person, kind="erasure",
                        how="counter", made_sure="showed a passport")  # fmt: skip
    answer = asking.mine.post(f"{asking.page}/withdraw", {"request": made.id}, seen=asking.page)
    assert answer.headers["Location"].endswith("rights_gone") and second.rows()[0].state == "open"


def test_without_a_code_nothing_that_was_asked_is_taken_back(asking: Asking) -> None:
    asking.unlock()
    asking.ask("erasure")
    (made,) = [one for one in asking.rows() if one.kind == "erasure"]
    asking.theirs.post(f"{asking.page}/withdraw", {"request": made.id}, seen=asking.page)
    assert [one.state for one in asking.rows() if one.id == made.id] == ["open"]


def test_the_page_of_somebody_forgotten_says_that_it_is_over(asking: Asking) -> None:
    asking.unlock()
    seen = {"csrf_token": asking.mine.token(asking.page)}
    forget.erase_person(asking.house.ctx, asking.house.actor(), asking.person)
    for answer in (asking.mine.get(asking.page), asking.mine.open("POST", f"{asking.page}/copy", data=seen)):
        assert answer.status_code == 410 and ADDRESS not in answer.get_data(as_text=True)


def test_every_page_and_paper_says_how_long_in_the_same_words(app: Flask, asking: Asking) -> None:
    """A tax year that ends on 5 April, as in the United Kingdom (from memory); the words are written out here."""
    house, owner = asking.house, sign_in(app, asking.house, role="owner")
    keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P6Y", clock="end_of_financial_year:04-05")
    whole = "6 years after the end of the financial year (5 April) in which the last device is handed back"
    asking.unlock()
    for path in (asking.home, asking.page, "/privacy"):
        assert whole in asking.look(path=path), path
    ticket = claim_ticket(house.ctx, house.actor(), asking.ticket_id, words=house.services.words.get,
                          templates=house.services.templates)  # fmt: skip
    assert any(whole in line for line in ticket.privacy_lines)
    for path in ("/held", "/held/record", "/settings"):
        assert "6 years from the end of the financial year (5 April)" in owner.get(path).get_data(as_text=True), path


@pytest.mark.parametrize("language", ["de", "it"])
def test_the_page_speaks_their_language_and_shows_no_code_words(asking: Asking, language: str) -> None:
    asking.unlock()
    asking.mine.post(f"{asking.home}/language", {"language": language}, seen=asking.home)
    asking.house.deliver(after=91)
    page = asking.look()
    assert {"de": "Was wir über Sie aufbewahren", "it": "Che cosa conserviamo su di lei"}[language] in page
    assert "taken_in" not in page and "contact_code" not in page and "checked_in" not in page


def test_a_contact_that_was_changed_shuts_the_page_and_ends_the_code_that_went_to_the_old_one(asking: Asking) -> None:
    """Whoever has the lost phone read the code; since then the number was changed at the counter."""
    house = asking.house

    def change(address: str) -> None:
        reach.set_contact(house.ctx, house.actor(), asking.visit_id, asking.person, channel="sms", address=address)

    asking.unlock()
    assert ADDRESS in asking.look()
    code = asking.send()
    change("07700 900155")
    assert ADDRESS not in asking.look() and not asking.copy().is_json
    assert asking.mine.post(f"{asking.page}/code", {"code": code}, seen=asking.page).status_code == 422
    assert ADDRESS not in asking.look()

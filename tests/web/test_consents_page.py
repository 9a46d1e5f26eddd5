"""The proof of consent as a page, and the presses on it: as many to take back as to give (GDPR art. 7(3))."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask import Flask

from notify.flows import forget, suppressions
from notify.flows.view_consents import proof
from notify.store import people, tickets
from tests.web.conftest import Browser, sign_in
from tests.web.staff_pages import Reader, codes_in

FORM = re.compile(r'<form action="/visits/[^"]+/consents/say" method="post">(.*?)</form>', re.DOTALL)
FIELD = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')
pytestmark = pytest.mark.long
EVERY = ("repair", "pickup", "afterwards")


def page_of(browser: Browser, number: str) -> str:
    answer = browser.get(f"/visits/{number}/consents")
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def presses(page: str) -> list[dict[str, str]]:
    """What each button sends; all that a person does is press it."""
    assert "checkbox" not in "".join(FORM.findall(page))  # nothing to tick, so nothing is ticked beforehand
    return [dict(FIELD.findall(form)) for form in FORM.findall(page)]


def press(browser: Browser, number: str, act: str, **wanted: str) -> Any:
    found = [one for one in presses(page_of(browser, number)) if one["act"] == act and wanted.items() <= one.items()]
    assert len(found) == 1, (act, wanted, found)
    return browser.post(f"/visits/{number}/consents/say", found[0])


def uses(house: Any, done: Any) -> Any:
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
        return people.allowed_uses(unit, [person]).get(person, {}).get("sms", frozenset())


@pytest.mark.parametrize("purpose", ["afterwards", "repair"])
def test_taking_back_is_one_press_as_giving_is_and_each_leaves_its_line(
    house: Any, signed_in: Browser, purpose: str
) -> None:
    done = house.check_in(email="")
    number, steps = done.numbers[0], {"give": 0, "withdraw": 0}
    for act in ("withdraw", "give", "withdraw") if purpose == "repair" else ("give", "withdraw"):
        assert press(signed_in, number, act, purpose=purpose).status_code == 303
        steps[act] = 1
        assert (purpose in uses(house, done)) is (act == "give")
    print(
        f"FIGURE withdrawing purpose={purpose} presses_to_give={steps['give']} presses_to_take_back={steps['withdraw']}"
    )
    said = proof(house.ctx, house.actor(), number).people[0].said
    assert [one.how for one in said[-2:]] == ["counter", "counter"] and all(one.by == "Ada owner" for one in said[-2:])


def test_never_again_is_one_press_and_wanting_it_again_asks_and_needs_its_own(house: Any, signed_in: Browser) -> None:
    done = house.check_in(email="")
    number = done.numbers[0]
    assert press(signed_in, number, "stop").status_code == 303 and uses(house, done) == frozenset()
    page = page_of(signed_in, number)
    assert "Does this person want it? They stopped on" in Reader(page).text
    assert not [one for one in presses(page) if one["act"] in ("give", "withdraw", "stop")]
    person = presses(page)[0]["person"]
    sneaked = {"act": "give", "person": person, "channel": "sms", "purpose": "repair"}
    refused = signed_in.post(f"/visits/{number}/consents/say", sneaked)
    assert refused.status_code == 422 and "stopped all messages on" in refused.get_data(as_text=True)
    assert uses(house, done) == frozenset()
    ticket = Reader(signed_in.get(f"/tickets/{done.ticket_ids[0]}").get_data(as_text=True)).text
    assert "everything was stopped there on" in ticket
    press(signed_in, number, "wanted")
    assert uses(house, done) == {"repair", "pickup"}
    assert [one.ended_how for one in suppressions.listed(house.ctx, house.actor())] == ["counter"]


def test_the_page_says_the_exact_words_masked_without_codes_and_stays_readable_when_forgotten(
    house: Any, app: Flask, signed_in: Browser
) -> None:
    done = house.check_in(language="it", phone_purposes=EVERY)
    number = done.numbers[0]
    assert f'href="/visits/{number[:3]}-{number[3:]}/consents"' in signed_in.get(
        f"/tickets/{done.ticket_ids[0]}").get_data(as_text=True)  # fmt: skip
    read = Reader(page_of(sign_in(app, house, role="counter"), number)).text
    italian = house.services.words.get("it")
    assert all(italian[f"consent.{one}"] in read for one in EVERY) and "in Italian" in read
    assert "+447700900123" not in read and "ines@example.org" not in read and not codes_in(read)
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    page = page_of(signed_in, number)
    assert italian["consent.afterwards"] in page and "Ines" not in page and presses(page) == []
    assert signed_in.get("/visits/QQQ-QQQQ/consents").status_code in (404, 422)


def test_a_child_is_offered_nothing_optional_and_ticking_the_box_later_takes_it_back(
    house: Any, signed_in: Browser
) -> None:
    done = house.check_in(email="", phone_purposes=EVERY)
    number = done.numbers[0]
    press(signed_in, number, "child")
    assert uses(house, done) == {"repair", "pickup"}
    assert not [one for one in presses(page_of(signed_in, number)) if one["purpose"] == "afterwards"]
    form = {"device-1": "Fenlight", "device_class-1": "e_reader", "phone": "07700 900456", "child": "yes", "once": "k",
            "language": "en", "phone_purposes": ["repair", "afterwards"], "check_in": "yes"}  # fmt: skip
    refused = signed_in.post("/check-in", form)
    said = Reader(refused.get_data(as_text=True)).text
    assert refused.status_code == 422 and "child's contact: only what belongs to the repair" in said
    assert signed_in.post("/check-in", {**form, "phone_purposes": ["repair"]}).status_code == 303


def test_no_box_of_the_check_in_page_is_ticked_beforehand_and_every_sentence_can_be_read_out(
    house: Any, signed_in: Browser
) -> None:
    """GDPR recital 32 (from memory): a box ticked beforehand is no consent."""
    page = signed_in.get("/check-in").get_data(as_text=True)
    boxes = re.findall(r"<input[^>]*type=\"checkbox\"[^>]*>", page)
    assert len(boxes) > 6 and not [one for one in boxes if " checked" in one]
    for language in ("en", "de", "it"):
        assert house.services.words.get(language)["consent.repair"] in page

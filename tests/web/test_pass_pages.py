"""The pages of passes: named and confirmed on the claim page, shown to be sent on, scanned at the desk, taken back."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from flask import Flask

from notify.core.claim_number import show_number, show_pass_code
from notify.core.tickets import Phase
from notify.flows import forget, passes
from notify.flows.check_in_form import DeviceForm
from notify.render.words import Words
from notify.store import contact_codes, events, tickets
from notify.store import passes as rows
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser
from tests.web.test_page_words import PAYLOADS, _active

pytestmark = pytest.mark.long


@pytest.fixture
def visit(house: Any) -> Any:
    """A radio on the shelf, £24 of it not paid, and a camera in line."""
    done = house.check_in(DeviceForm("Kestrel pocket radio", device_class="radio", price_agreed="30", deposit="6",
                                     shelf="B3"), DeviceForm("Otter camera", device_class="camera"))  # fmt: skip
    shelve(house, done.ticket_ids[0])
    return done


def claim(house: Any, visit: Any) -> str:
    return f"/c/{token_of(house, visit.ticket_ids[0])}"


def sent_code(house: Any, visit: Any) -> str:
    with house.read() as unit:
        asked = [e for e in events.story_of(unit, visit_id=visit.visit_id) if e.kind == "code_asked"][-1]
        return contact_codes.text_of(unit, str(asked.codes["code"]))


def text(browser: Browser, path: str) -> str:
    return unescape(browser.get(path).get_data(as_text=True))


def pass_by_claim_page(house: Any, visit: Any, browser: Browser, name: str = "Mia Oland") -> str:
    """Names somebody and types the code; the path of the pass's page."""
    page = claim(house, visit)
    assert browser.post(f"{page}/passes", {"delegate": name}, seen=page).headers["Location"].endswith("said=pass_asked")
    typed = browser.post(f"{page}/passes/confirm", {"code": sent_code(house, visit)}, seen=page)
    assert typed.status_code == 303
    return str(typed.headers["Location"])


def test_a_customer_gives_a_pass_and_sends_on_a_page_that_names_nobody(
    house: Any, visit: Any, client: Browser, app: Flask
) -> None:
    where = pass_by_claim_page(house, visit, client)
    code = where.removeprefix("/p/").removesuffix("?given=1")
    giver, holder = text(client, where), text(Browser(app), f"/p/{code}")
    assert f'value="https://bell.example.org/p/{code}"' in giver and "mailto:" in giver and "sms:" in giver
    for page in (giver, holder):
        assert show_pass_code(code) in page and show_number(visit.numbers[0]) in page
        for private in (
            "Mia",
            "Oland",
            "Ines",
            "Farrow",
            "Kestrel",
            "07700",
            "ines@",
            token_of(house, visit.ticket_ids[0]),
        ):
            assert private not in page, private
    assert "mailto:" not in holder and "Monday to Saturday" in holder
    own = text(client, claim(house, visit))
    assert "M•• O•• may collect once with your pass, until Wednesday, 9 December." in own
    assert code not in own and "Mia Oland" not in own  # it is shown once, and a finder of the ticket sees initials
    assert "You let somebody else collect." in own


def test_a_scanned_pass_opens_the_desk_with_the_name_and_one_press_hands_back(
    house: Any, visit: Any, client: Browser, signed_in: Browser
) -> None:
    code = pass_by_claim_page(house, visit, client)[3:19]
    scanned = signed_in.post("/scan", {"scan": f"https://bell.example.org/p/{code}"})
    desk = scanned.headers["Location"]
    assert desk == f"/visits/{visit.visit_id}/handover"
    page = text(signed_in, desk)
    for said in (
        "Mia Oland, sent by Ines Farrow. Look at something with that name on it.", "B3", "£24.00 still to pay.",
        "£24.00 paid now, hand back Kestrel pocket radio", "Otter camera", "It counts once",
    ):  # fmt: skip
        assert said in page, said
    assert 'name="checked"' not in page and 'name="collector"' not in page
    house.clock.advance(40)
    value = re.search(r'class="main" name="ticket" value="([^"]+)"', page)
    since = re.search(r'name="since" value="([^"]+)"', page)
    assert value and since
    done = signed_in.post(desk, {"ticket": value[1], "since": since[1]}, seen=desk)
    assert done.headers["Location"] == "/"
    with house.read() as unit:
        ticket = tickets.get_ticket(unit, visit.ticket_ids[0])
        (handed,) = [e for e in events.story_of(unit, visit_id=visit.visit_id) if e.kind == "handover_done"]
    assert ticket.phase is Phase.HANDED_BACK and ticket.paid
    assert (handed.codes["how"], handed.codes["seconds"]) == ("pass", 40)
    story = text(signed_in, f"/tickets/{visit.ticket_ids[0]}")
    assert "The handover was noted: against a pass, taken by Mia Oland" in story
    again = signed_in.post("/scan", {"scan": code})
    assert "was used already" in text(signed_in, again.headers["Location"])


def test_three_wrong_codes_at_the_desk_ask_for_a_check_and_say_why(house: Any, visit: Any, signed_in: Browser) -> None:
    desk = f"/visits/{visit.visit_id}/handover"
    for n in range(3):
        answer = signed_in.post(f"/visits/{visit.visit_id}/scan", {"scan": f"{'b' * 15}{'cdf'[n]}"}, seen=desk)
        assert answer.status_code == 422 and "opens nothing here" in unescape(answer.get_data(as_text=True))
    right = signed_in.post(f"/visits/{visit.visit_id}/scan", {"scan": f"https://bell.example.org{claim(house, visit)}"},
                           seen=desk)  # fmt: skip
    assert (right.status_code, right.headers["Location"]) == (303, desk)
    page = text(signed_in, desk)
    assert "Three wrong codes were shown within a day" in page and 'name="checked"' in page
    assert signed_in.post(desk, {"ticket": "all"}, seen=desk).status_code == 422
    assert "Wrong codes at the desk" in text(signed_in, "/")
    assert signed_in.post(desk, {"ticket": "all", "checked": "passport seen"}, seen=desk).status_code == 303
    assert "Wrong codes at the desk" not in text(signed_in, "/")


def test_staff_give_a_pass_that_is_shown_once_and_take_it_back(house: Any, visit: Any, signed_in: Browser) -> None:
    desk = f"/visits/{visit.visit_id}/handover"
    given = signed_in.post(f"/visits/{visit.visit_id}/passes", {"delegate": "Mia Oland"}, seen=desk)
    where = given.headers["Location"]
    page = text(signed_in, where)
    letters = re.search(r"(?:[b-x]{4}-){3}[b-x]{4}", page)
    assert letters and signed_in.get(f"{where}.svg").mimetype == "image/svg+xml"
    assert letters[0].replace("-", "") not in where
    house.clock.advance(601)
    assert signed_in.get(where).status_code == 404
    seen = text(signed_in, desk)
    assert "Mia Oland may collect once" in seen and letters[0] not in seen
    with house.read() as unit:
        (found,) = rows.passes_of(unit, visit.visit_id)
    signed_in.post(f"/visits/{visit.visit_id}/passes/revoke", {"pass": found.id}, seen=desk)
    again = signed_in.post("/scan", {"scan": letters[0]})
    assert "was taken back" in text(signed_in, again.headers["Location"])


def test_the_customer_takes_a_pass_back_and_its_page_says_kindly_that_it_is_over(
    house: Any, visit: Any, client: Browser
) -> None:
    where = pass_by_claim_page(house, visit, client)
    page = claim(house, visit)
    with house.read() as unit:
        (found,) = rows.passes_of(unit, visit.visit_id)
    other = house.check_in(name="Sam Ferris")
    theirs = claim(house, other)
    assert client.post(f"{theirs}/passes/revoke", {"pass": found.id}, seen=theirs).status_code == 404
    assert client.get(where).status_code == 200
    client.post(f"{page}/passes/revoke", {"pass": found.id}, seen=page)
    over = client.get(where)
    assert over.status_code == 410 and "This pass is over" in over.get_data(as_text=True)
    assert "A pass to collect was taken back." in text(client, page)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [("delegate", "", "pass_no_name"), ("delegate", "x" * 200, "pass_no_name"), ("code", "0", "pass_gone")],
)  # fmt: skip
def test_what_does_not_work_is_said_on_the_claim_page(
    field: str, value: str, said: str, house: Any, visit: Any, client: Browser
) -> None:
    page = claim(house, visit)
    path = f"{page}/passes" + ("/confirm" if field == "code" else "")
    answer = client.post(path, {field: value}, seen=page)
    assert answer.headers["Location"].endswith(f"said={said}")
    words = Words(house.services.templates / "words", prefix="page.").get("en")
    assert words[f"notice.{said}"] in text(client, answer.headers["Location"])


def test_a_wrong_code_is_said_counted_and_the_right_one_still_works(house: Any, visit: Any, client: Browser) -> None:
    page = claim(house, visit)
    client.post(f"{page}/passes", {"delegate": "Mia Oland"}, seen=page)
    right = sent_code(house, visit)
    answer = client.post(f"{page}/passes/confirm", {"code": f"{(int(right) + 1) % 10**8:08d}"}, seen=page)
    assert answer.headers["Location"].endswith("said=pass_wrong_code")
    assert client.post(f"{page}/passes/confirm", {"code": right}, seen=page).headers["Location"].startswith("/p/")


@pytest.mark.long
def test_guesses_at_passes_are_throttled_by_source_and_tell_nothing_apart(
    house: Any, visit: Any, client: Browser, app: Flask
) -> None:
    """TESTPLAN D7: 1,000 guesses, at most 20 answered otherwise than with 429; ASVS 5.0.0, 2.4.1."""
    given = passes.give(house.ctx, house.actor(), visit.visit_id, name="Mia Oland")
    answered, bodies = 0, set()
    for n in range(1000):
        guess = given.code[:12] + "".join("bcdfghjklnprstvx"[(n >> shift) % 16] for shift in (0, 4, 8, 12))
        answer = client.get(f"/p/{guess}")
        answered += answer.status_code != 429
        bodies.add((len(answer.data), answer.status_code in (404, 429)))
        assert answer.status_code == 404 or int(answer.headers["Retry-After"]) > 0
    print(f"FIGURE D7_passes guesses=1000 answered={answered} enumeration={len(bodies) - 1}")
    assert answered <= 20 and len(bodies) == 1
    assert client.get(f"/p/{given.code}").status_code == 200  # whoever holds a right one is never kept out
    assert Browser(app).get("/p/" + "b" * 16, environ_overrides={"REMOTE_ADDR": "198.51.100.7"}).status_code == 404


@pytest.mark.long
@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_hostile_name_is_text_on_every_page_and_in_the_message(
    payload: str, house: Any, visit: Any, client: Browser, signed_in: Browser
) -> None:
    """TESTPLAN D8, in the delegate's name."""
    where = pass_by_claim_page(house, visit, client, name=payload[:80])
    desk = f"/visits/{visit.visit_id}/handover"
    pages = [client.get(claim(house, visit)), client.get(where), signed_in.get(desk)]
    signed_in.post("/scan", {"scan": where[3:19]})
    pages.append(signed_in.get(desk))
    signed_in.post(desk, {"ticket": "all"}, seen=desk)
    house.deliver(after=91)
    pages.append(signed_in.get(f"/tickets/{visit.ticket_ids[0]}"))
    with house.read() as unit:
        from notify.store import messages

        told = [m for m in messages.messages_of_visit(unit, visit.visit_id) if m.notice == "handed_back"]
    pages += [signed_in.get(f"/messages/{told[0].id}"), signed_in.get(f"/messages/{told[0].id}/html")]
    active = [one for page in pages for one in _active(page.get_data(as_text=True))]
    print(f"FIGURE D8_delegate pages={len(pages)} active={len(active)}")
    assert {page.status_code for page in pages} == {200} and not active


def test_looking_at_a_pass_uses_nothing_up(house: Any, visit: Any, client: Browser) -> None:
    """Mail scanners open every link (facts: previews stop subscriptions, so RFC 8058 exists)."""
    given = passes.give(house.ctx, house.actor(), visit.visit_id, name="Mia Oland")
    for path in (f"/p/{given.code}", f"/p/{given.code}/qr.svg", f"/p/{given.code}?given=1"):
        for method in ("GET", "HEAD", "OPTIONS"):
            answer = client.open(method, path)
            assert answer.status_code == 200 and answer.headers["X-Robots-Tag"] == "noindex, nofollow"
            assert answer.headers["Referrer-Policy"] == "no-referrer" and answer.headers["Cache-Control"] == "no-store"
    with house.read() as unit:
        assert rows.get_pass(unit, given.pass_id).state == "open"


def test_the_page_of_a_pass_ends_with_its_customer(house: Any, visit: Any, client: Browser) -> None:
    given = passes.give(house.ctx, house.actor(), visit.visit_id, name="Mia Oland")
    with house.read() as unit:
        person = tickets.get_ticket(unit, visit.ticket_ids[0]).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    assert client.get(f"/p/{given.code}").status_code == 404  # the hash went with the delegate

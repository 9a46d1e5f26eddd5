"""Every page of the shop on real data: empty, full, after forgetting, by role; every button lands back."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from notify.core import events, messages, notices, parts, planner, questions, tickets
from notify.core.second_look import STANDS_ASIDE
from notify.flows.calls import RESULTS
from notify.paths import templates_folder
from notify.render.words import Words
from notify.store.messages import list_messages
from notify.store.tickets import tickets_in
from tests.parts import full_shop
from tests.parts.full_shop import FullShop
from tests.web.conftest import Browser, make_app, sign_in
from tests.web.staff_pages import LISTS, Form, Reader, codes_in

pytestmark = pytest.mark.long  # together some seconds of one core

ROLES = ("counter", "technician", "owner")
# Buttons that end the work of this walk, or that need a person to choose first.
ASKS = re.compile(r"/move$|/undo$|/questions$|/answer$|/parts$|/order$|/due$|/notes$|/paid$|/log$|/settings/|/closed$")


@pytest.fixture(scope="module")
def pages(full_day: FullShop) -> Flask:
    """The pages of the filled shop, to be looked at only."""
    return make_app(full_day.house)


@pytest.fixture(scope="module")
def browsers(full_day: FullShop, pages: Flask) -> dict[str, Browser]:
    """Somebody of every role."""
    return {role: sign_in(pages, full_day.house, role=role) for role in ROLES}


def all_paths(shop: FullShop) -> Iterator[str]:
    """Every list, every ticket, every message."""
    yield from LISTS
    yield from (f"/tickets/{one}" for one in shop.tickets.values())
    yield "/uncollected/rules?code=germany"
    with shop.house.read() as unit:
        yield from (f"/uncollected/{one.id}" for one in tickets_in(unit, (tickets.Phase.ON_SHELF,)))
    with shop.house.read() as unit:
        yield from (f"/messages/{one.id}" for one in list_messages(unit, limit=500))


@pytest.fixture(scope="module")
def read(full_day: FullShop, browsers: dict[str, Browser]) -> dict[tuple[str, str], str]:
    """(role, address) -> HTML. Messages read alike for everybody, so only the owner reads them all."""
    found = {}
    for role, browser in browsers.items():
        for path in all_paths(full_day):
            if role == "owner" or not path.startswith("/messages/"):
                answer = browser.get(path)
                assert answer.status_code == 200, (role, path)
                found[role, path] = answer.get_data(as_text=True)
    return found


def test_each_page_reads_as_sentences_for_every_role_without_one_code_word(read: dict[tuple[str, str], str]) -> None:
    found = [(where, code) for where, html in read.items() for code in codes_in(Reader(html).text)]
    print(f"FIGURE staff_pages_read pages={len(read)} roles={len(ROLES)} code_words={len(found)}")
    assert not found


def test_code_words_are_found_where_they_are_planted() -> None:
    assert codes_in("It waits on_bench, None said {when}.") == ["None", "on_bench", "{when}"]
    assert not codes_in("Write to bench_one@example.org, the second of two.")


def test_no_page_shows_a_claim_secret_an_open_contact_or_a_forgotten_name(
    full_day: FullShop, browsers: dict[str, Browser], read: dict[tuple[str, str], str]
) -> None:
    secrets = [full_day.token(name) for name in full_day.tickets if name != "forgotten"]
    never = (*secrets, "Wilma", "Halyard", "Dial cord", "likes tea", "ines@example.org", "7700900123")
    letters = [path for (_, path), html in read.items() if f'src="{path}/html"' in html]
    shown = {**read, **{("owner", f"{one}/html"): browsers["owner"].get(f"{one}/html").text for one in letters}}
    assert len(letters) > 5
    assert not [(where, one) for where, html in shown.items() for one in never if one in html]


def test_what_a_role_may_not_do_is_not_offered_and_is_refused(full_day: FullShop, browsers: dict[str, Browser]) -> None:
    ticket = f"/tickets/{full_day.tickets['due']}"
    counter = Reader(browsers["counter"].get(ticket).get_data(as_text=True))
    assert "Start anyway" not in counter.text and "a technician may start it anyway" in counter.text
    assert "Ask the customer something" not in counter.text
    technician = Reader(browsers["technician"].get(ticket).get_data(as_text=True))
    assert "Start anyway" in technician.text and "Ask the customer something" in technician.text
    ready = browsers["technician"].get(f"/tickets/{full_day.tickets['ready']}").get_data(as_text=True)
    assert "Only an owner closes a device as never collected." in ready
    assert "Only an owner changes these." in browsers["technician"].get("/settings").get_data(as_text=True)
    assert browsers["technician"].post("/settings/retention", {"days": "1"}).status_code == 403
    assert browsers["counter"].post(f"{ticket}/questions", {"kind": "give_back", "wording": "x"}).status_code == 403


def test_an_empty_shop_says_so_on_every_page(signed_in: Browser) -> None:
    for path in LISTS:
        answer = signed_in.get(path)
        text = Reader(answer.get_data(as_text=True)).text
        assert answer.status_code == 200 and not codes_in(text), path
    assert "Nothing needs hands right now." in signed_in.get("/").get_data(as_text=True)
    assert signed_in.get("/tickets/nothing").status_code == 404
    assert signed_in.get("/messages/nothing").status_code == 404


def test_addresses_with_rubbish_in_them_answer_with_a_page(signed_in: Browser) -> None:
    for path in ("/pickups?day=rubbish", "/pickups?day=9999-12-31", "/pickups?day=0001-01-01", "/messages?page=-1",
                 "/messages?page=99999999999", "/messages?page=٣"):  # fmt: skip
        assert signed_in.get(path).status_code == 200, path


def _plain(form: Form) -> bool:
    return not ASKS.search(form.action)


def test_every_plain_button_of_every_page_carries_out_and_lands_on_a_page(house: Any) -> None:
    """Each button is pressed once in a fresh look at its page; a page may answer that it is too late, never crash."""
    shop = full_shop.fill(house)
    browser = sign_in(make_app(house), house, role="owner")
    pressed, kinds = 0, set()
    for path in all_paths(shop):
        for form in [one for one in Reader(browser.get(path).get_data(as_text=True)).forms if _plain(one)]:
            for name, value, other in form.buttons:
                data: dict[str, Any] = {}
                for key, kept in [*form.fields, *([(name, value)] if name else [])]:
                    data.setdefault(key, []).append(kept)
                address = other or form.action
                answer = browser.http.post(address, base_url="https://bell.example.org", data=data)
                # Words to be read first, and a number to be read once, change nothing.
                done = 200 if name == "look" or address.endswith("/contact/show") else 303
                assert answer.status_code in (done, 409, 422), (path, address, answer.status_code)
                if answer.status_code == 303:
                    landed = browser.get(answer.headers["Location"])
                    assert landed.status_code == 200, (address, answer.headers["Location"])
                    assert 'class="news" role="status"' in landed.get_data(as_text=True), address
                pressed += 1
                kinds.add(re.sub(r"/[0-9a-f]{8}-[0-9a-f-]{27}", "/<id>", address))
    print(f"FIGURE staff_buttons pressed={pressed} kinds={len(kinds)} crashes=0")
    assert {"/parts/<id>/arrived", "/parts/<id>/dead", "/parts/<id>/not-needed", "/bookings/<id>/cancel",
            "/tickets/<id>/place", "/tickets/<id>/safety", "/deliveries/arrived"} <= kinds  # fmt: skip


def test_each_code_that_a_page_can_meet_has_words_and_each_word_is_of_use() -> None:
    words = Words(templates_folder() / "words", prefix="desk.").get("en")
    wanted = {f"event.{kind}" for kind in (*events.OTHER_EVENTS, *tickets.MOVE_EVENTS)}
    wanted |= {f"move.{move.event}" for move in tickets.MOVES} | {f"stands.{phase}" for phase in tickets.Phase}
    wanted |= {f"moved.{move.event}" for move in tickets.MOVES if move.event != "handed_back"}
    wanted |= {f"question.{kind}" for kind in questions.ANSWERS}
    wanted |= {f"act.{kind}_{answer}" for kind, offered in questions.ANSWERS.items() for answer in offered}
    wanted |= {f"part_state.{state}" for state in parts.PartState}
    wanted |= {f"message_state.{state}" for state in messages.MessageState}
    wanted |= {f"call_result.{result}" for result in RESULTS} | {f"call_done.{result}" for result in RESULTS}
    wanted |= {f"use.{purpose}" for purpose in notices.PURPOSES}
    print(f"FIGURE desk_words wanted={len(wanted)} missing={len(wanted - set(words))}")
    assert not wanted - set(words)


def test_every_reason_code_written_in_the_source_has_words() -> None:
    words = Words(templates_folder() / "words", prefix="desk.").get("en")
    root = Path(planner.__file__).parents[1]
    source = "".join((root / name).read_text("utf-8") for name in (
        "core/planner.py", "core/second_look.py", "dispatch/deliver.py", "flows/calls.py", "flows/moves.py",
        "flows/questions.py", "flows/promises.py", "dispatch/prepare.py", "dispatch/receipts.py", "dispatch/settle.py",
    ))  # fmt: skip
    said = set(re.findall(r'(?:Drop\(|reason=|Wait\([^)]*, |return )"([a-z_]+)"', source)) - {"repaired", "unrepaired"}
    said |= set(re.findall(r'event\.id, "([a-z_]+)"\)', source)) | STANDS_ASIDE
    said |= set(re.findall(r'Drop\("([a-z_]+)" if [^)]* else "[a-z_]+"\)', source))
    said |= set(re.findall(r'Drop\([^)]* else "([a-z_]+)"\)', source))
    said |= set(re.findall(r'reason=f"([a-z_]+):\{', source))
    assert len(said) > 25 and {"quiet_hours", "waits_here", "overtaken", "refused", "bounced"} <= said
    assert not {code for code in said if f"message_reason.{code}" not in words}

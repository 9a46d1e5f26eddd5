"""The customer's pages over HTTP: what a link opens, what it never opens, and that looking changes nothing."""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import event, select

from notify.core.claim_number import new_token
from notify.core.languages import LANGUAGES
from notify.flows import desk_notes, forget, handover, keep_rules, moves, questions, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import people, visits
from notify.store import questions as stored
from notify.store.schema import tickets as tickets_table
from tests.parts.databases import Backend
from tests.parts.house import make_house
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser, make_app
from tests.web.database_digest import changed_tables, digest

pytestmark = pytest.mark.long

WRONG = ("b" * 32, "nonsense", "B" * 32, "%00", "é", "b" * 3000, "'; drop table tickets; --")


def text_of(answer: Any) -> str:
    """What a reader sees, roughly: no tags, one space between words."""
    html = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", answer.get_data(as_text=True))
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)))


def link_of(house: Any, ticket_id: str) -> str:
    """The path of a ticket's claim page."""
    return f"/c/{token_of(house, ticket_id)}"


def ask(house: Any, ticket_id: str, price: str = "48") -> str:
    return questions.ask(house.ctx, house.actor(), ticket_id, kind="price", wording="Go on?", price=price)


def test_the_page_opens_with_one_sentence_and_carries_the_headers_of_a_secret_page(house: Any, client: Browser) -> None:
    ticket_id = house.check_in(DeviceForm("Kestrel", device_class="radio")).ticket_ids[0]
    page = client.get(link_of(house, ticket_id))
    html = page.get_data(as_text=True)
    assert page.status_code == 200
    assert "<h1><span>Your radio is with us; nobody has opened it yet.</span>" in html
    assert page.headers["Cache-Control"] == "no-store" and page.headers["Referrer-Policy"] == "no-referrer"
    assert page.headers["X-Robots-Tag"].startswith("noindex") and "Set-Cookie" not in page.headers
    assert "Monday to Saturday: 09:00 to 18:00" in html and "Ines" not in html and "Kestrel" not in html


def test_looking_at_any_customer_page_changes_no_table(house: Any, client: Browser) -> None:
    done = house.check_in(DeviceForm("Radio"), DeviceForm("Camera"))
    shelve(house, done.ticket_ids[0])
    ask(house, done.ticket_ids[1])
    before, looked = digest(house), 0
    paths = [link_of(house, t) + end for t in done.ticket_ids for end in ("", "/slots", "/qr.svg", "?said=booked")]
    for path in (*paths, "/privacy", "/privacy?language=de", "/c/" + "b" * 32):
        for method in ("get", "head", "options"):
            getattr(client.http, method)(path, base_url="https://bell.example.org")
            looked += 1
    for end in ("/answer", "/book", "/move", "/cancel", "/stop", "/language"):
        assert client.get(link_of(house, done.ticket_ids[0]) + end).status_code == 405
        looked += 1
    found = changed_tables(before, digest(house)) - {"throttles"}
    print(f"FIGURE D3_claim requests={looked} tables_changed={len(found)}")
    assert not found


def test_unknown_malformed_and_replaced_links_get_the_same_page(house: Any, client: Browser) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    old = link_of(house, ticket_id)
    desk_notes.replace_claim_link(house.ctx, house.actor(), ticket_id)
    answers = [client.get(path) for path in (old, *(f"/c/{token}" for token in WRONG))]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.get_data() for answer in answers}) == 1
    assert "This link does not open a repair" in text_of(answers[0])
    german = client.get(old, headers={"Accept-Language": "de-CH,de;q=0.9"}).get_data(as_text=True)
    assert '<html lang="de">' in german and "Dieser Link öffnet keine Reparatur" in german
    assert client.get(link_of(house, ticket_id)).status_code == 200


def test_a_wrong_link_takes_the_same_work_whatever_is_wrong_with_it(house: Any, client: Browser) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    old = link_of(house, ticket_id)
    desk_notes.replace_claim_link(house.ctx, house.actor(), ticket_id)
    client.get("/c/" + "b" * 32)
    work = set()
    for path in (old, *(f"/c/{token}" for token in WRONG)):
        with statements(house) as run:
            client.get(path)
        work.add(tuple(run))
    assert len(work) == 1


@contextmanager
def statements(house: Any) -> Iterator[list[str]]:
    """The SQL that ran meanwhile."""
    run: list[str] = []

    def note(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        run.append(statement)

    event.listen(house.ctx.db.engine, "before_cursor_execute", note)
    try:
        yield run
    finally:
        event.remove(house.ctx.db.engine, "before_cursor_execute", note)


def test_a_forgotten_persons_link_says_that_it_is_over_in_their_language(house: Any, client: Browser) -> None:
    ticket_id = house.check_in(language="de").ticket_ids[0]
    path = link_of(house, ticket_id)
    shelve(house, ticket_id)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=path[3:])
    house.clock.advance(91 * 86400)
    assert forget.forget(house.ctx, house.system()).due
    for end in ("", "/slots", "/qr.svg"):
        gone = client.get(path + end)
        assert gone.status_code == 410 and "Diese Reparatur ist abgeschlossen" in text_of(gone)


@pytest.mark.long
def test_guesses_from_one_place_stop_being_answered_but_a_right_link_never_does(house: Any, client: Browser) -> None:
    right = link_of(house, house.check_in().ticket_ids[0])
    limit = house.services.settings.limits.claim_tries_an_hour
    seen: dict[int, set[bytes]] = {}
    for guess in range(1000 if house.ctx.db.is_sqlite else 60):
        answer = client.get(f"/c/{'bcdfghjklnprstvx'[guess % 16]}{guess:031d}")
        seen.setdefault(answer.status_code, set()).add(answer.get_data())
        if answer.status_code == 404:
            counted = guess + 1
    late = client.get("/c/" + "b" * 32)
    assert late.status_code == 429 and 3500 < int(late.headers["Retry-After"]) <= 3600
    assert counted <= limit and seen[404] == seen[429] and len(seen[404]) == 1
    assert client.get(right).status_code == 200
    elsewhere = client.get("/c/" + "b" * 32, environ_overrides={"REMOTE_ADDR": "203.0.113.9"})
    assert elsewhere.status_code == 404
    print(f"FIGURE D7_links guesses={guess + 1} answered={counted} enumeration={len(seen[404] | seen[429]) - 1}")


def test_one_tap_answers_and_the_shop_is_told(house: Any, client: Browser) -> None:
    ticket_id = house.check_in(DeviceForm("Camera", device_class="camera")).ticket_ids[0]
    path, question = link_of(house, ticket_id), ask(house, ticket_id)
    page = client.get(path).get_data(as_text=True)
    assert 'name="answer" value="accept">Yes, go ahead</button>' in page and "£48.00" in page
    done = client.post(f"{path}/answer", {"question": question, "answer": "accept"}, seen=path)
    assert (done.status_code, done.headers["Location"]) == (303, f"{path}?said=answered")
    after = text_of(client.get(done.headers["Location"]))
    assert "Thank you. We have your answer." in after and "You answered: Yes, go ahead." in after
    again = client.post(f"{path}/answer", {"question": question, "answer": "decline"}, seen=path)
    assert again.headers["Location"].endswith("said=too_late")
    house.deliver()
    assert house.sent()[-1].to == "bench@example.org"
    back = client.post(f"{path}/answer", {"question": question, "answer": "take_back"}, seen=path)
    assert back.headers["Location"].endswith("said=taken_back")
    assert "is waiting for your answer" in text_of(client.get(path))


def test_an_answer_needs_its_own_ticket_a_known_code_and_an_open_question(house: Any, client: Browser) -> None:
    mine, other = house.check_in(DeviceForm("Radio"), DeviceForm("Camera")).ticket_ids
    path, question = link_of(house, mine), ask(house, other)
    ask(house, mine)
    foreign = client.post(f"{path}/answer", {"question": question, "answer": "accept"}, seen=path)
    assert foreign.headers["Location"].endswith("said=too_late")
    with house.read() as unit:
        assert stored.get_question(unit, question).state == "open"
        own = stored.questions_of(unit, mine)[0].id
    assert client.post(f"{path}/answer", {"question": own, "answer": "maybe"}, seen=path).status_code == 422
    assert client.post(f"{path}/answer", {}, seen=path).headers["Location"].endswith("said=too_late")


def test_a_price_told_by_phone_cannot_be_agreed_to_on_the_page(house: Any, client: Browser) -> None:
    set_up.change_settings(house.ctx, house.actor(), {"code_above": 4000})
    ticket_id = house.check_in(phone="", email="").ticket_ids[0]
    path, question = link_of(house, ticket_id), ask(house, ticket_id)
    page = client.get(path).get_data(as_text=True)
    assert "we say it by phone" in page and "48" not in text_of(client.get(path)) and 'name="answer"' not in page
    client.post(f"{path}/answer", {"question": question, "answer": "accept"}, seen=path)
    assert "is waiting for your answer" in text_of(client.get(path))


def test_a_form_without_our_token_or_from_another_site_changes_nothing(house: Any, client: Browser) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    path, question = link_of(house, ticket_id), ask(house, ticket_id)
    before = digest(house)
    data = {"question": question, "answer": "accept"}
    stale = client.http.post(f"{path}/answer", base_url="https://bell.example.org", data=data)
    assert stale.status_code == 400 and f'href="{path}">Back to your repair</a>' in stale.get_data(as_text=True)
    foreign = client.post(f"{path}/answer", data, seen=path, headers={"Origin": "https://evil.example.com"})
    assert foreign.status_code == 400
    other = house.check_in(email="", phone="").ticket_ids[0]
    before = digest(house)
    borrowed = client.post(f"{path}/answer", data, seen=link_of(house, other))
    assert borrowed.status_code == 400
    assert not changed_tables(before, digest(house))


def test_stopping_an_address_stops_every_purpose_once_and_language_switches(house: Any, client: Browser) -> None:
    done = house.check_in()
    path = link_of(house, done.ticket_ids[0])
    contact = re.findall(r'name="contact" value="([^"]+)"', client.get(path).get_data(as_text=True))[0]
    for _ in range(2):
        stopped = client.post(f"{path}/stop", {"contact": contact}, seen=path)
        assert stopped.headers["Location"] == f"{path}?said=stopped"
    with house.read() as unit:
        (told,) = visits.visit_people(unit, done.visit_id)["tell"]
        assert people.allowed_uses(unit, [told])[told]["sms"] == frozenset()
        assert people.allowed_uses(unit, [told])[told]["email"] == {"repair", "pickup"}
    assert client.post(f"{path}/stop", {"contact": "made-up"}, seen=path).status_code == 404
    switched = client.post(f"{path}/language", {"language": "de"}, seen=path)
    assert switched.status_code == 303
    page = client.get(switched.headers["Location"]).get_data(as_text=True)
    assert '<html lang="de">' in page and "Ab jetzt schreiben wir Ihnen auf Deutsch." in page
    assert client.post(f"{path}/language", {"language": "xx"}, seen=path).status_code == 422


def test_with_no_public_address_the_pages_work_and_nothing_prints_a_link(
    backend: Backend, clock: Any, tmp_path: Path, tzdata_only: None
) -> None:
    house = make_house(tmp_path, backend.url, clock=clock, public_url="")
    try:
        app: Flask = make_app(house)
        ticket_id = house.check_in().ticket_ids[0]
        shelve(house, ticket_id)
        http = app.test_client()
        page = http.get(link_of(house, ticket_id), base_url="http://localhost")
        assert page.status_code == 200 and "Show this code at the counter" in text_of(page)
        assert "http" not in re.sub(r'xmlns="[^"]+"', "", page.get_data(as_text=True))
        code = http.get(link_of(house, ticket_id) + "/qr.svg", base_url="http://localhost")
        assert code.mimetype == "image/svg+xml" and token_of(house, ticket_id) not in code.get_data(as_text=True)
        house.deliver(after=91)
        assert all(b"/c/" not in mail.payload for mail in house.sent())
    finally:
        house.services.close()


def test_the_data_protection_page_is_made_from_the_settings_in_every_language(house: Any, client: Browser) -> None:
    set_up.change_settings(
        house.ctx, house.actor(),
        {"authority": "Harbour Data Office, https://data.example.org/complain.",
         "controller": "Ada Quill, 9 Pier Street"},
    )  # fmt: skip
    keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P6M")
    english, german, italian = (client.get(f"/privacy?language={language}") for language in LANGUAGES)
    assert "6 months after the last device is handed back" in text_of(english) and "Ada Quill" in text_of(english)
    assert '<a href="https://data.example.org/complain" rel="noreferrer">Harbour Data Office</a>' in (
        english.get_data(as_text=True)
    )
    assert "Our text messages are sent by sms.example.org." in text_of(english)
    assert "6 Monate" in text_of(german) and 'href="/privacy?language=en"' in german.get_data(as_text=True)
    assert '<html lang="de">' in german.get_data(as_text=True)
    assert "6 mesi dopo la riconsegna" in text_of(italian) and '<html lang="it">' in italian.get_data(as_text=True)
    assert "I nostri SMS li spedisce sms.example.org." in text_of(italian)


@pytest.mark.parametrize("payload", ["<script>alert(1)</script>", "{{ 7*7 }}", "\u202eevil", "'; --"])
def test_free_words_of_a_question_stay_words(house: Any, client: Browser, payload: str) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    questions.ask(house.ctx, house.actor(), ticket_id, kind="give_back", wording=f"Stop? {payload}")
    html = client.get(link_of(house, ticket_id)).get_data(as_text=True)
    assert "<script>alert" not in html and "Stop? 49" not in html and "Stop?" in html


def test_a_device_called_back_after_booking_reads_as_being_worked_on(house: Any, client: Browser) -> None:
    ticket_id = house.check_in(DeviceForm("Radio", device_class="radio")).ticket_ids[0]
    shelve(house, ticket_id)
    moves.move(house.ctx, house.actor(), ticket_id, "in_line", reason="fault_seen_again")
    page = text_of(client.get(link_of(house, ticket_id)))
    assert "Your radio is waiting for its turn on the bench." in page and "Choose a pickup time" not in page
    assert "Nothing is ready to be collected yet." in text_of(client.get(link_of(house, ticket_id) + "/slots"))


@pytest.mark.long
def test_tokens_never_repeat_and_no_log_line_holds_one(
    house: Any, client: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    tokens = {new_token(secrets.randbelow) for _ in range(100_000)}
    ticket_id = house.check_in().ticket_ids[0]
    path, question = link_of(house, ticket_id), ask(house, ticket_id)
    with caplog.at_level(logging.DEBUG):
        for end in ("", "/slots", "/qr.svg", "/answer"):
            client.get(path + end)
        client.post(f"{path}/answer", {"question": question, "answer": "maybe"}, seen=path)
        client.post(f"{path}/book", {"slot": "rubbish"}, seen=path)
        client.get(f"/c/{min(tokens)}")
        house.deliver(after=91)
    lines = [record.getMessage() for record in caplog.records]
    held = [line for line in lines if path[3:] in line or min(tokens) in line or "ines@example.org" in line]
    print(f"FIGURE D6 tokens=100000 repeats={100_000 - len(tokens)} log_lines={len(lines)} in_logs={len(held)}")
    assert len(tokens) == 100_000 and lines and not held
    with house.read() as unit:
        row = unit.connection.execute(select(tickets_table.c.token_hash)).scalar_one()
    assert row != path[3:] and len(row) == 64

"""The bell on the day sheet: one look while nothing rang, a line once it did, and no session kept alive by it."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

from sqlalchemy import event

from notify.flows import forget, moves, questions
from notify.flows.staff import IDLE
from tests.web.conftest import Browser

TAG = re.compile(r'^W/"bell-\d+"$')


def ring(house: Any, number: str = "") -> str:
    """A customer answers; the ticket."""
    ticket = house.check_in().ticket_ids[0]
    asked = questions.ask(house.ctx, house.actor(), ticket, kind="price", wording="New cone?", price="45")
    questions.answer(house.ctx, house.customer(), asked, answer="accept")
    return str(ticket)


def test_nothing_new_is_answered_304_without_a_body_by_one_look_at_the_messages(signed_in: Browser, house: Any) -> None:
    """RFC 9110: 13.1.2 If-None-Match, 8.8.3.2 weak comparison, 15.4.5 no content in a 304."""
    ring(house)
    first = signed_in.get("/bell")
    assert first.status_code == 200 and TAG.match(first.headers["ETag"])
    asked: list[str] = []
    event.listen(house.ctx.db.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    for sent in (first.headers["ETag"], first.headers["ETag"].removeprefix("W/"), f'"x", {first.headers["ETag"]}'):
        asked.clear()
        again = signed_in.get("/bell", headers={"If-None-Match": sent})
        assert (again.status_code, again.data) == (304, b"") and again.headers["ETag"] == first.headers["ETag"]
        looked = [sql for sql in asked if "messages" in sql]
        assert len(looked) == 1 and "max(" in looked[0], asked
        writes = [sql for sql in asked if re.match("(?i)insert|update|delete", sql)]
        assert not writes
    ring(house)
    fresh = signed_in.get("/bell", headers={"If-None-Match": first.headers["ETag"]})
    assert fresh.status_code == 200 and fresh.headers["ETag"] != first.headers["ETag"]


def test_each_happening_is_one_line_the_newest_first_and_gone_after_an_hour(signed_in: Browser, house: Any) -> None:
    from notify.flows import set_up

    set_up.change_settings(house.ctx, house.actor(), {"bell_phone": "+44 1632 960124"})  # two ways: still one line
    ring(house)
    house.clock.advance(60)
    second = ring(house)
    text = signed_in.get("/bell").get_data(as_text=True)
    assert text.count("<li") == 2 and text.count("The customer answered about the Kestrel pocket radio.") == 2
    assert text.index(f"/tickets/{second}") < text.index("</li>")
    page = signed_in.get("/").get_data(as_text=True)
    assert "The bell rang" in page and page.count("The customer answered about") == 2
    house.clock.advance(timedelta(hours=1).total_seconds() + 1)
    assert signed_in.get("/bell").get_data(as_text=True).strip() == ""
    assert re.search(r'<section class="bell"[^>]* hidden>', signed_in.get("/").get_data(as_text=True))


def test_at_most_five_lines_and_of_a_forgotten_person_only_the_kind_of_device(signed_in: Browser, house: Any) -> None:
    from notify.store import tickets

    made = [ring(house) for _ in range(7)]
    assert signed_in.get("/bell").get_data(as_text=True).count("<li") == 5
    with house.read() as unit:
        person = tickets.get_ticket(unit, made[-1]).person_id
    moves.move(house.ctx, house.actor(), made[-1], "on_shelf", reason="changed_mind")
    forget.erase_person(house.ctx, house.actor(), person)
    newest = signed_in.get("/bell").get_data(as_text=True).partition("</li>")[0]
    assert "about the device." in newest and "Kestrel" not in newest


def test_a_day_sheet_left_open_does_not_keep_a_session_alive(signed_in: Browser, house: Any) -> None:
    """OWASP ASVS 5.0.0, 7.3.1: an inactivity timeout. The page's own asking is no activity."""
    for _ in range(4):
        house.clock.advance(IDLE.total_seconds() / 4 - 60)
        assert signed_in.get("/bell").status_code == 200
    house.clock.advance(600)
    assert signed_in.get("/bell").status_code == 303


def test_paused_the_sheet_does_not_listen_but_shows_what_rang(signed_in: Browser, house: Any) -> None:
    ring(house)
    assert 'data-bell="1500"' in signed_in.get("/").get_data(as_text=True)
    paused = signed_in.get("/?paused=1").get_data(as_text=True)
    assert "data-bell" not in paused and "data-refresh" not in paused and "The customer answered about" in paused

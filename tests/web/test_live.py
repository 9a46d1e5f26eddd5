"""Sheets that renew themselves: one look while nothing changed, another tag as soon as anything shown did."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import event, update
from werkzeug.test import TestResponse

from notify.flows import forget, moves, questions, set_up
from notify.flows.staff import IDLE
from notify.store import schema as s
from notify.store import shown, tickets, visits
from notify.web.live import KEY, MOST, KeptTags
from tests.flows.every_flow import STEPS, Story
from tests.parts import full_shop
from tests.web.conftest import Browser, app_of, sign_in

pytestmark = pytest.mark.long  # each has a shop of its own

TAG = re.compile(r'^W/"[0-9a-f]{32}"$')
BY_ITSELF = {"Shelfbell-By-Itself": "1"}
SHEETS = ("/", "/pickups")


def ring(house: Any) -> str:
    """A customer answers; the ticket."""
    ticket = house.check_in().ticket_ids[0]
    asked = questions.ask(house.ctx, house.actor(), ticket, kind="price", wording="New cone?", price="45")
    questions.answer(house.ctx, house.customer(), asked, answer="accept")
    return str(ticket)


def again(browser: Browser, path: str, tag: str) -> TestResponse:
    """What an open page asks by itself."""
    return browser.get(path, headers={"If-None-Match": tag, **BY_ITSELF})


def plain(answer: TestResponse) -> str:
    """A page without what may differ between two equal ones: its tag, and the minute at which it was seen."""
    text = answer.get_data(as_text=True)
    return re.sub(r'data-tag="[0-9a-f]*"', "", re.sub(r"<span data-seen>[^<]*<", "<", text))


def stay_signed_in(house: Any) -> None:
    """The days of a story pass, and nobody is signed out by them."""
    now = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(update(s.sessions).values(last_seen_at=now, expires_at=now + timedelta(days=1)))


class Twins:
    """Two browsers of one person: the first keeps what it saw and asks whether it changed, for the second the service
    remembers nothing and makes every page."""

    def __init__(self, app: Flask, house: Any) -> None:
        self.asks = sign_in(app, house, role="owner", name="Ada Quill")
        other = app_of(house.services)
        self.looks = Browser(other, secret=self.asks.secret, shop_id=house.shop_id, staff_id=self.asks.staff_id)
        self.house, self.tags, self.pages, self.same = house, dict.fromkeys(SHEETS, ""), dict.fromkeys(SHEETS, ""), 0

    def compare(self, path: str, after: str) -> None:
        """Each side's look; 304 only if the page is the very same, and the very same page has the same tag."""
        stay_signed_in(self.house)
        answer = again(self.asks, path, self.tags[path])
        if answer.status_code == 200:  # made just now
            assert plain(answer) != self.pages[path], f"{path} was sent again unchanged after {after}"
            self.tags[path], self.pages[path] = answer.headers["ETag"], plain(answer)
            return
        self.same += 1
        self.looks.app.extensions[KEY] = KeptTags()
        whole = self.looks.get(path)
        assert (answer.status_code, whole.status_code) == (304, 200), after
        assert plain(whole) == self.pages[path], f"{path} changed unseen after {after}"
        assert whole.headers["ETag"] == self.tags[path], after


@pytest.fixture
def statements(house: Any) -> Any:
    """Every statement on the database and on the key store."""
    said: list[str] = []

    def note(*given: Any) -> None:
        said.append(given[2])

    for engine in (house.ctx.db.engine, house.ctx.db.vault._engine):
        event.listen(engine, "before_cursor_execute", note)
    yield said
    for engine in (house.ctx.db.engine, house.ctx.db.vault._engine):
        event.remove(engine, "before_cursor_execute", note)


def test_what_has_not_changed_is_answered_304_without_a_body_after_one_statement(
    signed_in: Browser, house: Any, statements: list[str]
) -> None:
    """RFC 9110: 13.1.2 If-None-Match, 8.8.3.2 weak comparison, 15.4.5 no content in a 304."""
    ring(house)
    for path in SHEETS:
        first = signed_in.get(path)
        tag = first.headers["ETag"]
        assert first.status_code == 200 and TAG.match(tag) and f'data-tag="{tag[3:-1]}"' in first.get_data(as_text=True)
        for sent in (tag, tag.removeprefix("W/"), f'"x", {tag}'):
            statements.clear()
            same = again(signed_in, path, sent)
            assert (same.status_code, same.data, same.headers["ETag"]) == (304, b"", tag)
            assert len(statements) == 1 and statements[0].startswith("SELECT"), statements
        assert again(signed_in, path, '"other"').status_code == 200
        assert "no-store" in first.headers["Cache-Control"]  # names of customers stay on no counter's disk
    ring(house)
    assert again(signed_in, "/", tag).status_code == 200


def test_no_flow_changes_what_a_sheet_shows_without_another_tag(app: Flask, house: Any) -> None:
    """The rule of RFC 9110, 8.8.1, as far as a weak tag goes: another tag whenever a reader would see another page."""
    twins, story = Twins(app, house), Story(house)
    twins.compare("/", "nothing")
    for step in STEPS:
        at = house.clock()
        kept = step.do(story)
        if step.keep:
            story.made[step.keep] = kept
        if step.keep == "visit":
            with house.read() as unit:
                story.made["told"] = visits.visit_people(unit, kept.visit_id)["tell"][0]
        later = house.clock()
        house.clock.set(at)  # in the very minute of the look before: only what was written can tell
        twins.compare("/", step.flow)
        house.clock.set(later)
        if later != at:
            twins.compare("/", step.flow)
    with house.read() as unit:
        person = tickets.get_ticket(unit, story.ticket()).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    for path in SHEETS:
        twins.compare(path, "forget.erase_person")
    print(f"FIGURE live_after_every_flow steps={len(STEPS)} unchanged={twins.same}")
    assert 0 < twins.same < 2 * len(STEPS)


@pytest.mark.parametrize("minutes", [47, pytest.param(1, marks=pytest.mark.deep)])
def test_no_minute_of_a_day_changes_a_sheet_without_another_tag(app: Flask, house: Any, minutes: int) -> None:
    full_shop.fill(house)
    twins = Twins(app, house)
    began, looks = house.clock(), 0
    while house.clock() - began < timedelta(days=1):
        for path in SHEETS:
            twins.compare(path, str(house.clock()))
        house.clock.advance(minutes * 60)
        looks += 1
    print(f"FIGURE live_over_a_day looks={looks} every_minutes={minutes} unchanged={twins.same}")
    assert twins.same > 0


def test_what_is_written_beside_the_sheets_makes_none_anew(signed_in: Browser, house: Any) -> None:
    tag = signed_in.get("/").headers["ETag"]
    before = signed_in.app.extensions[KEY]._tags
    kept = dict(before)
    stay_signed_in(house)
    assert again(signed_in, "/", tag).status_code == 304 and before == kept
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(update(s.tickets).values(shelf="A1"))
    assert again(signed_in, "/", tag).status_code == 304 and before != kept  # made anew, and it came out the same


def test_every_statement_that_writes_a_shown_table_is_told_from_the_others() -> None:
    yes = ("INSERT INTO tickets (id) VALUES (?)", 'UPDATE "tickets" SET shelf=?', "DELETE FROM parts WHERE id=?",
           "insert or ignore into people values (1)", "WITH x AS (SELECT 1) UPDATE parts SET id=1",
           "UPDATE ONLY tickets SET x=1")  # fmt: skip
    no = ("INSERT INTO sessions (id) VALUES (?)", "UPDATE job_runs SET lease_by=?", "DELETE FROM throttles",
          "BEGIN IMMEDIATE", "SAVEPOINT sa_1", "PRAGMA x", "insert into shown_stamps (shop_id) values (1)")  # fmt: skip
    assert all(shown.shows(one) for one in yes) and not any(shown.shows(one) for one in no)
    assert all(name in s.metadata.tables for name in shown.UNSEEN)


def test_what_was_undone_raises_no_stamp(signed_in: Browser, house: Any) -> None:
    """The mark of a transaction that was rolled back does not cling to its connection."""
    tag, kept = signed_in.get("/").headers["ETag"], signed_in.app.extensions[KEY]._tags
    with pytest.raises(ZeroDivisionError), house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(update(s.tickets).values(shelf="A1"))
        raise ZeroDivisionError
    before = dict(kept)
    stay_signed_in(house)
    assert again(signed_in, "/", tag).status_code == 304 and kept == before


def test_an_open_sheet_keeps_no_session_alive(signed_in: Browser, house: Any) -> None:
    """OWASP ASVS 5.0.0, 7.3.1: an inactivity timeout. The page's own asking is no activity, looking at it is."""
    tag = signed_in.get("/").headers["ETag"]
    for _ in range(4):
        house.clock.advance(IDLE.total_seconds() / 4 - 60)
        assert again(signed_in, "/", tag).status_code in (200, 304)
    house.clock.advance(600)
    assert again(signed_in, "/", tag).status_code == 303
    assert signed_in.get("/").status_code == 303


def test_a_tag_of_another_session_or_after_signing_out_opens_nothing(app: Flask, house: Any) -> None:
    ada, ben = sign_in(app, house, role="owner"), sign_in(app, house, role="counter", name="Ben Hale")
    tag = ada.get("/").headers["ETag"]
    assert ben.get("/").headers["ETag"] != tag and again(ben, "/", tag).status_code == 200
    assert again(Browser(app), "/", tag).status_code == 303
    ada.post("/sign-out")
    assert again(ada, "/", tag).status_code == 303


def test_what_is_said_once_waits_for_a_person_and_is_not_used_up_by_the_page_asking(
    signed_in: Browser, house: Any
) -> None:
    ticket = house.check_in().ticket_ids[0]
    signed_in.post(f"/tickets/{ticket}/move", {"to": "inspecting", "back": "/"})
    assert "Undo, until" not in again(signed_in, "/", '"x"').get_data(as_text=True)
    assert "Undo, until" in signed_in.get("/").get_data(as_text=True)


def test_no_more_tags_are_kept_than_a_shop_can_use(house: Any) -> None:
    tags = KeptTags()
    for n in range(MOST + 40):
        tags.keep((f"session {n}", "/?", "shop"), 1, f"tag {n}", made=house.clock())
    assert len(tags._tags) == MOST and not tags.find(("session 0", "/?", "shop"), 1, now=house.clock())
    last = (f"session {MOST + 39}", "/?", "shop")
    assert tags.find(last, 1, now=house.clock()) and not tags.find(last, 2, now=house.clock())
    assert not tags.find(last, 1, now=house.clock() + timedelta(minutes=1))


def test_each_happening_is_one_line_the_newest_first_and_gone_after_an_hour(signed_in: Browser, house: Any) -> None:
    set_up.change_settings(house.ctx, house.actor(), {"bell_phone": "+44 1632 960124"})  # two ways: still one line
    ring(house)
    house.clock.advance(60)
    second = ring(house)
    page = signed_in.get("/").get_data(as_text=True)
    lines = page.partition("The bell rang")[2].partition("</section>")[0]
    assert lines.count("<li") == 2 and lines.count("The customer answered about the Kestrel pocket radio.") == 2
    assert lines.index(f"/tickets/{second}") < lines.index("</li>")
    house.clock.advance(timedelta(hours=1).total_seconds() + 1)
    assert re.search(r'<section class="bell"[^>]* hidden>', signed_in.get("/").get_data(as_text=True))


def test_at_most_five_rings_and_of_a_forgotten_person_only_the_kind_of_device(signed_in: Browser, house: Any) -> None:
    made = [ring(house) for _ in range(7)]
    assert signed_in.get("/").get_data(as_text=True).count("<li data-stamp") == 5
    with house.read() as unit:
        person = tickets.get_ticket(unit, made[-1]).person_id
    moves.move(house.ctx, house.actor(), made[-1], "on_shelf", reason="changed_mind")
    forget.erase_person(house.ctx, house.actor(), person)
    newest = signed_in.get("/").get_data(as_text=True).partition("<li data-stamp")[2].partition("</li>")[0]
    assert "about the device." in newest and "Kestrel" not in newest


def test_paused_the_sheet_does_not_ask_but_shows_what_rang(signed_in: Browser, house: Any) -> None:
    ring(house)
    assert 'data-live="1500"' in signed_in.get("/").get_data(as_text=True)
    paused = signed_in.get("/?paused=1").get_data(as_text=True)
    assert "data-live" not in paused and "The customer answered about" in paused and "Let it renew itself" in paused


def test_a_technician_reads_which_devices_are_theirs(app: Flask, house: Any) -> None:
    odile = sign_in(app, house, role="technician", name="Odile")
    ticket = house.check_in().ticket_ids[0]
    for phase in ("in_line", "on_bench"):
        moves.move(house.ctx, house.actor("technician"), ticket, phase)
    page = odile.get("/").get_data(as_text=True)
    assert "The bench, yours first" in page and "Yours. On the bench since" in page
    other = sign_in(app, house, role="counter").get("/").get_data(as_text=True)
    assert "The bench, in order" in other and "Yours." not in other and ", Odile." in other

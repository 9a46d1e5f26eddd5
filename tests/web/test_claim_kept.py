"""A claim page that is given again is the page that would be made now, after whatever was written by whomever."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from sqlalchemy import event

from notify import wiring
from notify.core.errors import NotFound
from notify.flows import desk_notes, forget, moves, pickup, questions, reach, set_up
from notify.flows.check_in import token_hash
from notify.store import people, shops, tickets, visits
from notify.store.claims import find_claim
from notify.web.claim.kept import LASTS, MOST, KeptPages
from tests.flows.every_flow import STEPS, Story
from tests.web.conftest import Browser, app_of

pytestmark = pytest.mark.long  # together some seconds of one core

STAMP = ("en", 0, 1, "a", 0)
NOW = datetime(2026, 11, 25, 9, 0, 2, tzinfo=UTC)


@dataclass
class Looks:
    """Two servers of one installation: one keeps pages, the other makes each anew."""

    house: Any

    def __post_init__(self) -> None:
        self.keeping = Browser(app_of(self.house.services))
        self.making = Browser(app_of(self.house.services, kept_pages=0))

    def token(self, ticket_id: str) -> str:
        with self.house.read() as unit:
            return tickets.get_ticket(unit, ticket_id).token

    def stamp(self, token: str) -> Any:
        claim = find_claim(self.house.ctx.db, token_hash(token))
        return claim and claim.stamp

    def same(self, token: str) -> bytes:
        """The page, after a look that may be answered from memory was found equal to a fresh one."""
        kept, made = (browser.get(f"/c/{token}") for browser in (self.keeping, self.making))
        assert (kept.status_code, kept.data) == (made.status_code, made.data)
        page: bytes = made.data
        return page


@contextmanager
def statements(engine: Any) -> Iterator[list[str]]:
    """The statements that were carried out."""
    seen: list[str] = []

    def note(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        seen.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(engine, "before_cursor_execute", note)


def test_a_second_look_asks_the_database_one_thing_and_gives_the_same_page(house: Any) -> None:
    looks, ticket_id = Looks(house), house.check_in().ticket_ids[0]
    token = looks.token(ticket_id)
    first = looks.keeping.get(f"/c/{token}")
    with statements(house.ctx.db.engine) as again:
        second = looks.keeping.get(f"/c/{token}")
    with statements(house.ctx.db.engine) as anew:
        looks.making.get(f"/c/{token}")
    print(f"FIGURE claim_page_statements again={len(again)} anew={len(anew)}")
    assert second.data == first.data and dict(second.headers) == dict(first.headers)
    assert len([one for one in again if one.upper().startswith("SELECT")]) == 1 < len(anew)
    assert second.headers["Cache-Control"] == "no-store"


def test_whatever_any_flow_writes_no_kept_page_is_stale_and_its_stamp_has_risen(house: Any) -> None:
    story, looks = Story(house), Looks(house)
    changed = unmarked = 0
    for step in STEPS:
        known = [looks.token(one) for one in story.made["visit"].ticket_ids] if "visit" in story.made else []
        before, at = [(looks.same(token), looks.stamp(token)) for token in known], house.clock()
        result = step.do(story)
        if step.keep:
            story.made[step.keep] = result
        if step.keep == "visit":
            with house.read() as unit:
                story.made["told"] = visits.visit_people(unit, result.visit_id)["tell"][0]
        later = house.clock()
        house.clock.set(at)
        for token, (page, stamp) in zip(known, before, strict=True):
            if looks.same(token) != page:
                changed, unmarked = changed + 1, unmarked + (looks.stamp(token) == stamp)
        house.clock.set(later)  # the looks before the next step are at that time
    print(f"FIGURE kept_pages_fresh database={house.ctx.db.engine.dialect.name} steps={len(STEPS)} "
          f"pages_changed={changed} stamps_missed={unmarked}")  # fmt: skip
    assert changed > 60 and unmarked == 0


def test_settings_hours_and_days_of_the_shop_show_at_once(house: Any) -> None:
    looks, owner = Looks(house), house.actor()
    token = looks.token(house.check_in().ticket_ids[0])
    with house.read() as unit:
        monday = shops.list_hours(unit)[0][0]
    shut = date(2026, 11, 26)
    changes: list[Callable[[], Any]] = [
        lambda: set_up.change_settings(house.ctx, owner, values={"name": "Tramstop Nook", "phone": "+44 1632 960999"}),
        lambda: set_up.add_hours(house.ctx, owner, weekday=6, opens=time(10), closes=time(12), capacity=1),
        lambda: set_up.drop_hours(house.ctx, owner, hours_id=monday),
        lambda: set_up.add_special_day(house.ctx, owner, day=shut, reason="stocktaking"),
    ]
    seen = [looks.same(token)]
    for change in changes:
        change()
        seen.append(looks.same(token))
    print(f"FIGURE kept_pages_shop changes={len(changes)} shown={len(set(seen)) - 1}")
    assert len(set(seen)) == len(changes) + 1


def test_the_last_place_taken_by_one_visit_shows_on_the_page_of_another(house: Any) -> None:
    looks, owner = Looks(house), house.actor()
    with house.read() as unit:
        rows = [row for row, _ in shops.list_hours(unit)]
    for row in rows:
        set_up.drop_hours(house.ctx, owner, hours_id=row)
    set_up.add_special_day(house.ctx, owner, day=date(2026, 11, 26), opens=time(10), closes=time(10, 15), capacity=1,
                           reason="one only")  # fmt: skip
    mine, other = house.check_in(), house.check_in(email="tam@example.org")
    for ticket_id in (*mine.ticket_ids, *other.ticket_ids):
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(house.ctx, owner, ticket_id, phase)
    token = looks.token(other.ticket_ids[0])
    before = looks.same(token)
    offers = pickup.offers(house.ctx, house.customer(), mine.visit_id)
    for offer in offers:
        pickup.book(house.ctx, house.customer(), mine.visit_id, offer.slot.local)
    taken = looks.same(token)
    pickup.cancel(house.ctx, house.customer(), mine.visit_id)
    assert len(offers) == 1 and before != taken and looks.same(token) == before


def test_an_address_found_dead_and_a_stop_elsewhere_show_at_once(house: Any) -> None:
    looks, done = Looks(house), house.check_in()
    token = looks.token(done.ticket_ids[0])
    seen = [looks.same(token)]
    with house.ctx.db.write(house.shop_id) as unit:
        person = visits.visit_people(unit, done.visit_id)["tell"][0]
        email = next(one for one in people.contacts_of(unit, person) if one.channel == "email")
        people.mark_undeliverable(unit, email.id, at=house.clock())
    seen.append(looks.same(token))
    reach.set_use(house.ctx, house.customer(), done.visit_id, person, channel="sms", purposes=("repair", "pickup"),
                  allowed=False, how="claim_page")  # fmt: skip
    seen.append(looks.same(token))
    assert len(set(seen)) == 3


def test_a_replaced_link_opens_nothing_though_its_page_was_kept(house: Any) -> None:
    looks, ticket_id = Looks(house), house.check_in().ticket_ids[0]
    old = looks.token(ticket_id)
    assert looks.keeping.get(f"/c/{old}").status_code == 200
    desk_notes.replace_claim_link(house.ctx, house.actor(), ticket_id)
    assert looks.keeping.get(f"/c/{old}").status_code == 404


@pytest.mark.parametrize("cut", [False, True], ids=["whole", "cut_off_after_the_keys"])
def test_a_forgotten_person_is_gone_from_the_memory_of_the_server_as_well(house: Any, cut: bool) -> None:
    looks, done = Looks(house), house.check_in()
    house.deliver(after=91)
    token = looks.token(done.ticket_ids[0])
    with house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
    assert b"@example.org" in looks.keeping.get(f"/c/{token}").data

    def fail(_: Any) -> int:
        raise OSError("the disk of the copies is gone")

    with suppress(OSError):
        forget.erase_person(house.ctx, house.actor(), person, drop_copies=fail if cut else None)
    assert looks.keeping.get(f"/c/{token}").status_code == 410


def test_what_another_process_wrote_shows_at_once(house: Any) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    other = wiring.build(house.services.settings, clock=house.clock, channels=house.channels)
    looks = Looks(house)
    token = looks.token(ticket_id)
    before = looks.same(token)
    moves.move(other.context, house.actor(), ticket_id, "inspecting")
    after = looks.same(token)
    there = Browser(app_of(other)).get(f"/c/{token}").data
    other.close()
    assert before != after == there


def test_a_question_past_its_end_is_not_offered_from_memory(house: Any) -> None:
    looks, ticket_id = Looks(house), house.check_in().ticket_ids[0]
    house.clock.advance(1)
    questions.ask(house.ctx, house.actor(), ticket_id, kind="give_back", wording="Stop here?",
                  until=house.clock() + timedelta(seconds=10))  # fmt: skip
    token = looks.token(ticket_id)
    for wait, offered in ((0, True), (9, True), (1, False)):
        house.clock.advance(wait)
        assert (b"Stop here?" in looks.same(token)) == offered


def test_a_page_that_says_what_just_happened_says_it_once(house: Any) -> None:
    looks = Looks(house)
    token = looks.token(house.check_in().ticket_ids[0])
    said, plain = (looks.keeping.get(f"/c/{token}{query}").data for query in ("?said=language", ""))
    assert said != plain == looks.same(token)


def test_memory_is_bounded_in_number_and_in_time() -> None:
    pages = KeptPages()
    for number in range(3 * MOST):
        pages.keep(f"token{number}", STAMP, b"page", now=NOW, ends=None)
    assert len(pages) == MOST and pages.find(f"token{3 * MOST - 1}", STAMP, now=NOW) == b"page"
    pages.keep("later", STAMP, b"page", now=NOW + LASTS, ends=None)
    assert len(pages) == 1
    none = KeptPages(most=0)
    none.keep("token", STAMP, b"page", now=NOW, ends=None)
    assert len(none) == 0


@pytest.mark.parametrize(
    ("made", "ends", "asked", "found"),
    [
        (0, None, 29.9, True), (0, None, 30, False), (45, None, 12, True), (45, None, 13, False), (0, 5, 4, True),
        (0, 5, 5, False), (0, None, -1, False),
    ],
)  # fmt: skip
def test_a_page_holds_half_a_minute_and_never_past_its_minute_or_end(
    made: float, ends: float | None, asked: float, found: bool
) -> None:
    pages, now = KeptPages(), NOW + timedelta(seconds=made)
    over = None if ends is None else now + timedelta(seconds=ends)
    pages.keep("token", STAMP, b"page", now=now, ends=over)
    got = pages.find("token", STAMP, now=now + timedelta(seconds=asked))
    assert (got is not None) == found
    assert pages.find("token", (*STAMP[:4], 1), now=now) is None


def test_an_unknown_link_is_never_kept(house: Any) -> None:
    looks = Looks(house)
    answer = looks.keeping.get("/c/" + "z" * 26)
    assert answer.status_code in (404, 429)
    with pytest.raises(NotFound), house.read() as unit:
        tickets.find_by_token_hash(unit, token_hash("z" * 26))

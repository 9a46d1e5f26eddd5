"""The page of lost tickets: the same answer and the same work for every number, throttled by number and by place (D7).

What a guesser may learn and how often: OWASP, Forgot Password and Credential Stuffing sheets as kept in facts 2.2 (same
message and time for known and unknown, limits for each account and each source); RFC 6585 section 4 for 429.
"""

from __future__ import annotations

import random
import re
import statistics
import time
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import event, select

from notify.core import contact_code as rules
from notify.core.claim_number import new_number, show_number
from notify.core.errors import Invalid, NotFound
from notify.flows import contact_codes, handover, lost_ticket, set_up
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import schema, tickets
from tests.flows.test_contact_codes import code_in, other
from tests.parts.shelved import shelve, token_of
from tests.store.test_shops_apart import OTHER
from tests.web.conftest import Browser

pytestmark = pytest.mark.long

CHANCE = random.Random(7)
FORM = re.compile(r'name="csrf_token" value="[0-9a-f]+"')


class Visitor:
    """Somebody before the page of lost tickets, from one place."""

    def __init__(self, app: Flask, source: str = "203.0.113.9") -> None:
        self.browser, self.source = Browser(app), source
        self.token = self.browser.token("/lost")

    def send(self, path: str, **form: str) -> Any:
        return self.browser.open("POST", path, data={"csrf_token": self.token, **form},
                                 environ_overrides={"REMOTE_ADDR": self.source})  # fmt: skip

    def ask(self, number: str) -> Any:
        return self.send("/lost", number=number)

    def type(self, number: str, code: str) -> Any:
        return self.send("/lost/code", number=number, code=code)


def number_of(house: Any, ticket_id: str) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, ticket_id).number)


def unknown(house: Any) -> str:
    """A well-formed number that is nobody's."""
    while True:
        number = new_number(CHANCE.randrange)
        with house.read() as unit:
            if not tickets.number_taken(unit, number):
                return number


def answer_asked(house: Any) -> int:
    """What the clock's job does, and the dispatcher after it."""
    sent = lost_ticket.answer_asked(house.ctx, house.services.shop_ids())
    house.deliver()
    return sent


def shown(answer: Any, number: str) -> tuple[int, str, int, frozenset[str]]:
    """Everything that a guesser sees of an answer, without the number they typed themselves."""
    page = FORM.sub("", answer.get_data(as_text=True)).replace(number, "N").replace(show_number(number), "N")
    return answer.status_code, page, len(answer.data), frozenset(name for name, _ in answer.headers)


def test_a_lost_ticket_is_proved_by_a_code_and_the_new_page_opens_while_the_old_one_is_dead(
    app: Flask, house: Any
) -> None:
    done = house.check_in()
    old, number = token_of(house, done.ticket_ids[0]), number_of(house, done.ticket_ids[0])
    visitor = Visitor(app)
    page = visitor.ask(show_number(number).lower())
    assert page.status_code == 200 and "a code is on its way" in page.get_data(as_text=True)
    assert answer_asked(house) == 1
    code = code_in(house.sent("sms")[-1])
    wrong = visitor.type(number, other(code))
    assert wrong.status_code == 422 and "not the code" in wrong.get_data(as_text=True)
    right = visitor.type(number, f"{code[:4]}-{code[4:]}")
    new = token_of(house, done.ticket_ids[0])
    assert right.status_code == 303 and right.headers["Location"] == f"/c/{new}?said=new_link" and new != old
    page = visitor.browser.get(right.headers["Location"])
    assert page.status_code == 200 and "The old one opens nothing any more" in page.get_data(as_text=True)
    assert visitor.browser.get(f"/c/{old}").status_code == 404
    assert visitor.type(number, code).status_code == 422  # it counts once
    house.deliver()
    with house.read() as unit:
        told = unit.connection.execute(
            select(schema.messages.c.channel).where(schema.messages.c.notice == "link_replaced",
                                                    schema.messages.c.state == "sent")
        ).scalars()  # fmt: skip
        assert sorted(told) == ["email", "sms"]


def test_known_and_unknown_numbers_get_the_same_answer_at_every_step(app: Flask, house: Any) -> None:
    done = house.check_in()
    gone = house.check_in(phone="07700 900777")
    unreachable = house.check_in(phone="", email="")
    shelve(house, gone.ticket_ids[0])
    handover.hand_back(house.ctx, house.actor(), ticket_ids=gone.ticket_ids,
                       token=token_of(house, gone.ticket_ids[0]))  # fmt: skip
    known = [number_of(house, one.ticket_ids[0]) for one in (done, gone, unreachable)]
    numbers = [*known, unknown(house), unknown(house)]
    seen: list[set[Any]] = [set(), set(), set()]
    visitor = Visitor(app)
    for number in numbers:
        seen[0].add(shown(visitor.ask(number), number))
    assert answer_asked(house) == 1
    for number in numbers:
        seen[1].add(shown(visitor.type(number, "00000000"), number))
        visitor.source = f"203.0.113.{CHANCE.randrange(10, 250)}"
    for number in numbers:
        for _ in range(lost_ticket.A_NUMBER):
            visitor.source = f"198.51.100.{CHANCE.randrange(250)}"
            last = visitor.type(number, "00000000")
        seen[2].add((shown(last, number), last.headers.get("Retry-After")))
    print(f"FIGURE D7_same numbers={len(numbers)} enumeration={sum(len(one) - 1 for one in seen)}")
    assert [len(one) for one in seen] == [1, 1, 1] and next(iter(seen[2]))[0][0] == 429


def test_the_page_runs_the_same_statements_for_known_and_unknown_numbers(app: Flask, house: Any) -> None:
    """The same work, counted and not timed: what the database is asked, word for word, each time from a fresh place."""
    number, none = number_of(house, house.check_in().ticket_ids[0]), unknown(house)
    visitor = Visitor(app)
    visitor.ask(unknown(house))  # what a process reads only once is read by now
    asked: list[list[str]] = []

    def note(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        asked[-1].append(" ".join(statement.split()))

    def heard(path: str, one: str, **form: str) -> list[str]:
        asked.append([])
        visitor.source = f"198.51.100.{len(asked)}"
        event.listen(house.ctx.db.engine, "before_cursor_execute", note)
        visitor.send(path, number=one, **form)
        event.remove(house.ctx.db.engine, "before_cursor_execute", note)
        return asked[-1]

    assert heard("/lost", number) == heard("/lost", none)
    answer_asked(house)  # only now is there a code for one of them
    assert heard("/lost/code", number, code="00000000") == heard("/lost/code", none, code="00000000")
    print(f"FIGURE D7_statements ask={len(asked[0])} type={len(asked[2])}")
    assert any("lost_requests" in s for s in asked[0]) and any(s.startswith("UPDATE contact_codes") for s in asked[3])


def overlap(a: list[float], b: list[float]) -> float:
    """How likely one of `a` took longer than one of `b`: 0.5 when nothing tells them apart (Mann and Whitney 1947)."""
    wins = sum((x > y) + 0.5 * (x == y) for x in a for y in b)
    return wins / (len(a) * len(b))


@pytest.mark.long
def test_the_time_of_an_answer_tells_nothing_that_a_planted_leak_would(app: Flask, house: Any) -> None:
    """Statistical: forty of each, in turn; a leak as long as a look-up of the ticket would be is found when planted."""
    visitor = Visitor(app)
    known = [number_of(house, house.check_in(phone=f"07700 9001{n:02d}").ticket_ids[0]) for n in range(40)]
    took: dict[bool, list[float]] = {True: [], False: []}
    for n, number in enumerate(known):
        pair = ((True, number), (False, unknown(house)))
        for ours, one in pair if n % 2 else reversed(pair):
            visitor.source = f"198.18.{n}.{int(ours)}"
            began = time.perf_counter()
            assert visitor.ask(one).status_code == 200
            took[ours].append(time.perf_counter() - began)
    honest = overlap(took[True], took[False])
    leak = statistics.median(took[False])  # about what opening the ticket and sealing a code takes
    planted = overlap([one + leak for one in took[True]], took[False])
    print(f"FIGURE D7_timing pairs={len(known)} overlap={honest:.2f} planted={planted:.2f}")
    assert 0.25 < honest < 0.75 and planted > max(0.75, honest + 0.1)


def test_a_thousand_guesses_from_one_place_get_twenty_answers(app: Flask, house: Any) -> None:
    """D7: `guesses=1000 answered<=20 enumeration=0`."""
    house.check_in()
    visitor, answered, waits = Visitor(app), 0, set()
    guesses = 1000 if house.ctx.db.is_sqlite else 60
    pages = set()
    for n in range(guesses):
        number = unknown(house)
        answer = visitor.ask(number) if n % 2 else visitor.type(number, f"{CHANCE.randrange(10**8):08d}")
        if answer.status_code == 429:
            waits.add(int(answer.headers["Retry-After"]) > 0)
            pages.add(answer.data)
        else:
            answered += 1
    with house.read() as unit:
        kept = len(unit.connection.execute(select(schema.lost_requests)).all())
    print(f"FIGURE D7_numbers database={house.ctx.db.engine.dialect.name} guesses={guesses} answered={answered} "
          f"enumeration={len(pages) - 1} requests_kept={kept}")  # fmt: skip
    assert answered <= 20 and waits == {True} and len(pages) == 1 and kept <= 20
    visitor.source = "203.0.113.77"
    assert visitor.ask(unknown(house)).status_code == 200  # another place is not kept out
    house.clock.advance(3601)
    visitor.source = "203.0.113.9"
    assert visitor.ask(unknown(house)).status_code == 200


def test_one_number_is_not_guessed_at_from_a_hundred_places(app: Flask, house: Any) -> None:
    """Also across the addresses of one IPv6 line (RFC 6177), and its code is dead after five tries."""
    number = number_of(house, house.check_in().ticket_ids[0])
    visitor = Visitor(app)
    visitor.ask(number)
    answer_asked(house)
    code = code_in(house.sent("sms")[-1])
    statuses = []
    for n in range(100):
        visitor.source = f"192.0.2.{n}"
        statuses.append(visitor.type(number, other(code)).status_code)
    print(f"FIGURE D7_one_number places=100 answered={statuses.count(422)} refused={statuses.count(429)}")
    assert statuses.count(422) == lost_ticket.A_NUMBER - 1 and statuses.count(429) == 100 - lost_ticket.A_NUMBER + 1
    house.clock.advance(3601)
    assert visitor.type(number, code).status_code == 422
    line = [f"2001:db8:1:2::{n:x}" for n in range(1, 60)]
    answered = 0
    for one in line:
        visitor.source = one
        answered += visitor.ask(unknown(house)).status_code == 200
    assert answered == 20


def test_nobody_is_spammed_with_codes_by_a_number_that_was_found(app: Flask, house: Any) -> None:
    number = number_of(house, house.check_in().ticket_ids[0])
    visitor, asked = Visitor(app), 0
    for hour in range(24):
        for n in range(6):
            visitor.source = f"198.51.{hour}.{n}"
            asked += visitor.ask(number).status_code == 200
            answer_asked(house)
        house.clock.advance(3600)
    codes = [one for one in house.sent("sms") if b"your code is" in one.payload]
    print(f"FIGURE D7_spam asked={asked} codes_sent={len(codes)}")
    assert asked > 100 and len(codes) == rules.A_DAY


def test_a_request_that_was_not_looked_up_in_time_sends_nothing(app: Flask, house: Any) -> None:
    number = number_of(house, house.check_in().ticket_ids[0])
    Visitor(app).ask(number)
    house.clock.advance(rules.LIFETIME.total_seconds())
    assert answer_asked(house) == 0 and answer_asked(house) == 0


def test_the_right_shop_of_two_is_found_by_the_number_alone(app: Flask, house: Any) -> None:
    from notify.core.actors import Actor
    from notify.flows import check_in

    second = set_up.make_shop(house.ctx, settings=OTHER)
    owner = Actor(second, "staff", "staff-b", "owner")
    form = VisitForm(bringer=PersonForm("Bo Marsh", "07700 900888"), devices=(DeviceForm("reader"),))
    theirs = check_in.check_in(house.ctx, owner, form)
    mine = house.check_in()
    visitor = Visitor(app)
    visitor.ask(theirs.numbers[0])
    assert answer_asked(house) == 1
    house.services.dispatcher.run_once(second)
    message = house.sent("sms")[-1]
    assert b"Ferry Slip Repairs" in message.payload
    right = visitor.type(theirs.numbers[0], code_in(message))
    with house.ctx.db.read(second) as unit:
        new = tickets.find_by_number(unit, theirs.numbers[0]).token
    assert right.headers["Location"].startswith(f"/c/{new}")
    with pytest.raises(NotFound), house.read() as unit:
        tickets.find_by_number(unit, theirs.numbers[0])
    assert visitor.browser.get(f"/c/{token_of(house, mine.ticket_ids[0])}").status_code == 200


@pytest.mark.parametrize("typed", ["", "K7M-2X9", "NOTHING", "x" * 300, "K7M-2X9T<b>", "\u0000"])
def test_what_can_be_no_number_is_told_so_before_anything_is_looked_up(app: Flask, house: Any, typed: str) -> None:
    visitor = Visitor(app)
    for answer in (visitor.ask(typed), visitor.type(typed, "12345678")):
        assert answer.status_code == 422 and "no claim number" in answer.get_data(as_text=True)
        assert "<b>" not in answer.get_data(as_text=True)


def test_a_code_of_the_wrong_length_is_told_so_and_costs_no_try(app: Flask, house: Any) -> None:
    number = number_of(house, house.check_in().ticket_ids[0])
    visitor = Visitor(app)
    visitor.ask(number)
    answer_asked(house)
    for _ in range(30):
        answer = visitor.type(number, "1234")
        assert answer.status_code == 422 and "eight digits" in answer.get_data(as_text=True)
    assert visitor.type(number, code_in(house.sent("sms")[-1])).status_code == 303


def test_a_device_that_went_home_meanwhile_gets_no_new_ticket(app: Flask, house: Any) -> None:
    done = house.check_in()
    shelve(house, done.ticket_ids[0])
    number = number_of(house, done.ticket_ids[0])
    visitor = Visitor(app)
    visitor.ask(number)
    answer_asked(house)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=done.ticket_ids,
                       token=token_of(house, done.ticket_ids[0]))  # fmt: skip
    code = code_in(next(one for one in reversed(house.sent("sms")) if b"your code is" in one.payload))
    answer = visitor.type(number, code)
    assert answer.status_code == 409 and "nothing of this repair is with us" in answer.get_data(as_text=True).lower()


def test_every_language_says_it_and_an_unknown_link_leads_there(app: Flask, house: Any) -> None:
    visitor = Visitor(app)
    for language, title in (("en", "claim ticket lost"), ("de", "Abholschein verloren"), ("it", "perso il tagliando")):
        assert title in visitor.browser.get(f"/lost?language={language}").get_data(as_text=True)
        unknown_link = visitor.browser.get(f"/c/{'b' * 32}?language={language}").get_data(as_text=True)
        assert f'href="/lost?language={language}"' in unknown_link


def test_the_counter_sends_checks_and_unlocks_the_handover(house: Any, signed_in: Browser) -> None:
    done = house.check_in()
    shelve(house, done.ticket_ids[0])
    desk = f"/visits/{done.visit_id}/lost"
    assert "+44 •••• ••• 123" in signed_in.get(desk).get_data(as_text=True)
    assert signed_in.post(desk, {"do": "send"}).status_code == 303
    house.deliver()
    code = code_in(next(one for one in reversed(house.sent("sms")) if b"your code is" in one.payload))
    page = signed_in.get(desk).get_data(as_text=True)
    assert "The code that they read out" in page and code not in page.replace(" ", "")
    wrong = signed_in.post(desk, {"do": "check", "code": other(code)})
    assert wrong.status_code == 422 and "4 times more" in wrong.get_data(as_text=True)
    right = signed_in.post(desk, {"do": "check", "code": code})
    assert right.headers["Location"] == f"/visits/{done.visit_id}/handover"
    given = signed_in.post(f"/visits/{done.visit_id}/handover", {"ticket": "all"})
    assert given.status_code == 303 and "Handed back" in signed_in.get("/").get_data(as_text=True)
    with house.read() as unit:
        codes = unit.connection.execute(
            select(schema.events.c.codes).where(schema.events.c.kind == "handover_done")
        ).scalar_one()
    assert codes["how"] == "contact_code"


def test_the_counter_is_told_when_a_code_cannot_prove_anything(house: Any, signed_in: Browser) -> None:
    done = house.check_in(phone="", email="")
    page = signed_in.get(f"/visits/{done.visit_id}/lost").get_data(as_text=True)
    assert "no address or number that can prove it" in page and 'value="renew"' in page
    refused = signed_in.post(f"/visits/{done.visit_id}/lost", {"do": "send"})
    assert refused.status_code == 422 and "Check who it is in words" in refused.get_data(as_text=True)


def test_without_a_code_a_new_ticket_needs_the_words_how_staff_made_sure_and_they_are_kept(
    house: Any, signed_in: Browser
) -> None:
    done = house.check_in(phone="", email="")
    path = f"/visits/{done.visit_id}/lost"
    with house.read() as unit:
        before = [one.version for one in tickets.tickets_of_visit(unit, done.visit_id)]
    for bare in ("", " ok "):
        refused = signed_in.post(path, {"do": "renew", "sure": bare})
        assert refused.status_code == 422 and 'href="#sure"' in refused.get_data(as_text=True)
    with house.read() as unit:
        assert [one.version for one in tickets.tickets_of_visit(unit, done.visit_id)] == before
    assert signed_in.post(path, {"do": "renew", "sure": "knew the dent on the lid"}).status_code == 303
    page = signed_in.get(f"/tickets/{done.ticket_ids[0]}").get_data(as_text=True)
    assert "knew the dent on the lid" in page and "The claim ticket was replaced" in page


def test_no_code_stands_in_a_log_an_address_or_a_page(
    app: Flask, house: Any, signed_in: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(0)
    done = house.check_in()
    number = number_of(house, done.ticket_ids[0])
    visitor = Visitor(app)
    visitor.ask(number)
    answer_asked(house)
    code = code_in(house.sent("sms")[-1])
    pages = [signed_in.get(path).get_data(as_text=True) for path in _staff_pages(house, done)]
    answers = [visitor.type(number, other(code)), visitor.type(number, code)]
    heard = [record.getMessage() for record in caplog.records] + [a.headers.get("Location", "") for a in answers]
    both = (code, rules.show_code(code), other(code))
    assert len(pages) > 4 and len(heard) > 5
    assert not any(one in text for text in (*pages, *heard) for one in both)


def _staff_pages(house: Any, done: Any) -> list[str]:
    with house.read() as unit:
        ids = unit.connection.execute(select(schema.messages.c.id)).scalars().all()
    ticket = f"/tickets/{done.ticket_ids[0]}"
    return [
        "/",
        "/messages",
        ticket,
        f"{ticket}/why",
        f"/visits/{done.visit_id}/lost",
        *(f"/messages/{i}" for i in ids),
    ]


def test_the_prove_flow_refuses_what_is_nothing_a_code_is_for(house: Any) -> None:
    done = house.check_in()
    with pytest.raises(Invalid, match="nothing that a code is for"):
        contact_codes.send_code(house.ctx, house.actor(), done.visit_id, purpose="money")

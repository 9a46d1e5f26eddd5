"""One repair as a shop and its customer live it: paper, phone, answer, pickup, code at the counter, handed back."""

from __future__ import annotations

import mailbox
from collections.abc import Callable
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import pytest
from playwright.sync_api import Page

from notify.core.tickets import Phase
from notify.flows import moves, questions
from notify.store import tickets
from tests.parts.counter_hand import check_in, printed_code, sign_in
from tests.parts.fingers import Keyboard, Thumb, pointers, watch_pointers
from tests.parts.live import Live

pytestmark = pytest.mark.real

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}


def ticket_of(live: Live, code: str) -> Any:
    """The ticket behind a claim code."""
    with live.read() as unit:
        found = tickets.tickets_in(unit, list(Phase))
        return next(one for one in found if code.endswith(str(one.token)))


def work(live: Live, code: str, *phases: str) -> None:
    """The technician, at another screen, ten minutes a step."""
    for phase in phases:
        live.clock.advance(600)
        moves.move(live.ctx, live.owner, ticket_of(live, code).id, phase)


def ask(live: Live, code: str) -> None:
    """The technician puts a price to the customer."""
    questions.ask(live.ctx, live.owner, ticket_of(live, code).id, kind="price", price="38",
                  wording="The speaker is torn and has to be replaced. Shall we do it?")  # fmt: skip


def said(letter: EmailMessage) -> str:
    """The words of one message."""
    body = letter.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def letters(live: Live) -> list[str]:
    """The words of every message in the Maildir, e-mails and texts."""
    box = mailbox.Maildir(live.services.settings.mail.folder, create=False)
    whole = [message_from_bytes(box.get_bytes(key), policy=policy.default) for key in list(box.iterkeys())]
    return [" ".join(said(one).split()) for one in whole]


def take_in(live: Live, page: Page) -> str:
    """Signs in, checks a radio in and prints its claim ticket, all by keyboard; the code on the paper."""
    sign_in(live, page).go("Check in")
    keys = check_in(page)
    return printed_code(page, keys)


def test_a_repair_by_keyboard_at_the_counter_and_two_taps_on_the_phone(
    start_live: Callable[..., Live], new_page: Callable[..., Page]
) -> None:
    live, counter, phone, thumb = start_live(), new_page(), new_page(**PHONE), Thumb()
    code = take_in(live, counter)

    phone.goto(code)  # what a phone's camera does with the paper
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    assert "radio" in phone.inner_text("h1")
    work(live, code, "inspecting")
    ask(live, code)
    live.deliver()
    assert any("a question about your Kestrel 40" in words and code in words for words in letters(live))

    phone.goto(code)
    assert "£38.00" in phone.inner_text("main")
    thumb.tap(phone.get_by_role("button", name="Yes, go ahead"))
    assert thumb.taps == 1 and phone.get_by_text("Thank you. We have your answer.").is_visible()
    assert phone.get_by_role("button", name="Yes, go ahead").count() == 0
    work(live, code, "in_line", "on_bench", "proving", "on_shelf")
    live.deliver()

    phone.goto(code)
    thumb.taps = 0
    thumb.tap(phone.get_by_role("link", name="Choose a pickup time"))
    thumb.tap(phone.locator("button[name=slot]").first)
    assert thumb.taps == 2
    booked = phone.inner_text("#pickup h2")

    desk = new_page(java_script_enabled=True)  # the same customer at home, who has no mouse
    watch_pointers(desk)
    desk.goto(code)
    own = Keyboard(desk)
    own.go("Choose another time")
    own.to("Tomorrow, Thursday, 26 November, 12:00")
    own.enter()
    moved = desk.inner_text("#pickup h2")
    assert moved != booked and "12:00" in moved

    live.clock.advance(3600)
    counter.bring_to_front()
    hand = Keyboard(counter)
    hand.to("Scan, or type a number", back=True)
    counter.keyboard.type(code)  # a scanner types the code and ends with Enter
    hand.enter()
    assert "The claim code was scanned" in counter.inner_text("main")
    assert "Kestrel 40" in counter.inner_text("main")
    hand.go("Hand back Kestrel 40")
    assert "Handed back: Kestrel 40" in counter.inner_text("main")
    assert ticket_of(live, code).phase == "handed_back"
    mouse = pointers(counter) + pointers(desk)
    print(f"FIGURE H3 flows=3 mouse={mouse} taps_to_book={thumb.taps}")
    assert mouse == 0


def test_the_customer_gets_through_without_any_script(
    start_live: Callable[..., Live], new_page: Callable[..., Page]
) -> None:
    live, counter = start_live(), new_page()
    phone, thumb = new_page(**PHONE, java_script_enabled=False), Thumb()
    code = take_in(live, counter)
    work(live, code, "inspecting")
    ask(live, code)
    phone.goto(code)
    thumb.tap(phone.get_by_role("button", name="Yes, go ahead"))
    assert phone.get_by_text("Thank you. We have your answer.").is_visible()
    assert phone.get_by_role("button", name="Yes, go ahead").count() == 0
    work(live, code, "in_line", "on_bench", "proving", "on_shelf")
    phone.goto(code)
    thumb.tap(phone.get_by_role("link", name="Choose a pickup time"))
    thumb.tap(phone.locator("button[name=slot]").first)
    assert phone.get_by_role("link", name="Choose another time").is_visible()
    thumb.tap(phone.get_by_role("button", name="Deutsch"))
    assert phone.locator("html").get_attribute("lang") == "de"

"""The shop's bell, and how soon it rings: `shelfbell serve`, a customer in one browser, the day sheet in another."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Request, expect

from notify.flows import check_in, questions
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import messages, tickets
from tests.parts.browser import press
from tests.parts.installation import NEVER_QUIET, PASSWORD, Installation, Serving, make_installation, owner_of
from tests.parts.processes import free_ports

pytestmark = pytest.mark.real
RINGS = 5
BY_ITSELF = "shelfbell-by-itself"  # the header of what an open sheet asks
PATIENCE = 60  # seconds until a bell is given up; how soon it rings is a figure


@pytest.fixture
def shop(tmp_path: Path) -> Installation:
    """An installation that customers reach on its own loopback port; its mail falls into a Maildir."""
    [port] = free_ports(1)
    base = f"http://127.0.0.1:{port}"
    made = make_installation(tmp_path, public_url=base, **{"web.port": port, "bell.wait_seconds": 0, **NEVER_QUIET})
    return Installation(made.config, port)


@pytest.fixture
def serving(shop: Installation) -> Iterator[str]:
    """The service; where its pages are."""
    with Serving(shop):
        yield f"http://127.0.0.1:{shop.port}"


def asked(services: Any, n: int) -> tuple[str, str, str]:
    """A device with an open question: its claim secret, question and ticket."""
    owner = owner_of(services)
    person = PersonForm(name="Ida Moss", email=f"ida{n}@example.org")
    form = VisitForm(bringer=person, devices=(DeviceForm(f"Halyard {n} radio"),))
    ticket = check_in.check_in(services.context, owner, form).ticket_ids[0]
    question = questions.ask(services.context, owner, ticket, kind="price", wording="New cone?", price="45")
    with services.context.db.read(owner.shop_id) as unit:
        return tickets.get_ticket(unit, ticket).token, question, ticket


def day_sheet(page: Page, base: str, *, address: str = "/") -> Page:
    page.goto(f"{base}/sign-in")
    page.fill("input[name=name]", "Owner")
    page.fill("input[name=password]", PASSWORD)
    press(page.get_by_role("button", name="Sign in"))
    assert page.url == f"{base}/"
    if address != "/":
        page.goto(base + address)
    return page


def letters(shop: Installation) -> set[str]:
    folder = shop.config.parent / "data" / "mail" / "new"
    return {one.name for one in folder.iterdir()} if folder.is_dir() else set()


def due(services: Any) -> bool:
    """Whether a message could leave now."""
    with services.context.db.read(services.shop_ids()[0]) as unit:
        rows = messages.list_messages(unit, states=["waiting"], limit=10_000)
    return any(row.due_at <= services.context.clock() and row.reason != "waits_for_newer" for row in rows)


def until(what: Callable[[], bool], page: Page, *, seconds: float = PATIENCE) -> float:
    """How long after now something is so; the page goes on living meanwhile."""
    began = time.monotonic()
    while not what():
        assert time.monotonic() - began < seconds, "it never rang"
        page.wait_for_timeout(20)
    return time.monotonic() - began


def test_the_line_and_the_mail_come_by_themselves_after_the_customers_answer(
    shop: Installation, serving: str, new_page: Callable[..., Page]
) -> None:
    services = shop.open()
    made = [asked(services, n) for n in range(RINGS)]
    sheet, customer = day_sheet(new_page(), serving), new_page(viewport={"width": 390, "height": 800})
    answers: list[int] = []
    sheet.on("response", lambda one: answers.append(one.status) if BY_ITSELF in one.request.headers else None)
    until(lambda: not due(services) and 304 in answers, sheet)  # the questions have left; the sheet has asked in vain
    seen, mailed = [], []
    for n, (token, _, _) in enumerate(made):
        customer.goto(f"{serving}/c/{token}")
        before, line = letters(shop), sheet.get_by_text(f"The customer answered about the Halyard {n} radio.")
        yes = customer.get_by_role("button", name="Yes")
        yes.click(no_wait_after=True)  # the page stays unread until the bell has rung
        began = time.monotonic()
        both: dict[str, float] = {}
        while len(both) < 2:
            assert time.monotonic() - began < PATIENCE, f"it never rang: {both}"
            if "line" not in both and line.count():
                both["line"] = time.monotonic() - began
            if "mail" not in both and letters(shop) - before:
                both["mail"] = time.monotonic() - began
            sheet.wait_for_timeout(20)
            customer.wait_for_timeout(1)
        seen.append(both["line"])
        mailed.append(both["mail"])
        expect(customer.get_by_text("Thank you. We have your answer.")).to_be_visible()
    quiet = answers.count(304)
    print(f"FIGURE bell_seconds max={max(*seen, *mailed):.2f} line_max={max(seen):.2f} mail_max={max(mailed):.2f} "
          f"rings={RINGS} unchanged_answers={quiet}")  # fmt: skip
    assert quiet >= 1 and set(answers) == {200, 304}
    assert int(sheet.locator("#sheet").get_attribute("data-live") or 0) < 2000  # how often a sheet asks, in ms
    assert sheet.locator(".bell li").count() == RINGS
    assert "Halyard 4 radio" in (sheet.locator(".bell li").first.text_content() or "")  # the newest on top
    expect(sheet.locator("#answered .line")).to_have_count(RINGS)  # and the sheet below has renewed itself at once
    shop.close()


def test_another_process_rings_it_too_and_paused_or_hidden_nothing_is_asked(
    shop: Installation, serving: str, new_page: Callable[..., Page]
) -> None:
    services = shop.open()
    made = [asked(services, n) for n in range(3)]
    owner = owner_of(services)
    sheet, paused = day_sheet(new_page(), serving), day_sheet(new_page(), serving, address="/?paused=1")
    asked_by = {"sheet": 0, "paused": 0}

    def count(name: str) -> Callable[[Request], None]:
        def one_more(request: Request) -> None:
            asked_by[name] += BY_ITSELF in request.headers

        return one_more

    for name, page in (("sheet", sheet), ("paused", paused)):
        page.on("request", count(name))
    questions.answer(services.context, owner, made[0][1], answer="accept", said_by="Ida, by phone")
    took = until(lambda: sheet.get_by_text("answered about the Halyard 0 radio").count() > 0, sheet)
    assert asked_by["paused"] == 0 and paused.locator(".bell").is_hidden()
    paused.reload()
    assert paused.get_by_text("answered about the Halyard 0 radio").is_visible()  # it shows what rang when opened
    sheet.evaluate("Object.defineProperty(document, 'hidden', { configurable: true, get: () => true })")
    sheet.evaluate("fetch('/healthz').then(answer => answer.text())")  # what was asked before is counted before
    before = asked_by["sheet"]
    questions.answer(services.context, owner, made[1][1], answer="accept", said_by="Ida, by phone")
    sheet.wait_for_timeout(3500)
    assert asked_by["sheet"] == before, "a page nobody sees asks nothing"
    sheet.evaluate("delete document.hidden; document.dispatchEvent(new Event('visibilitychange'))")
    until(lambda: sheet.get_by_text("answered about the Halyard 1 radio").count() > 0, sheet)
    print(f"FIGURE bell_other_process line_s={took:.2f}")
    shop.close()


def test_without_scripts_the_sheet_still_says_what_rang(
    shop: Installation, serving: str, new_page: Callable[..., Page]
) -> None:
    services = shop.open()
    _, question, _ = asked(services, 7)
    questions.answer(services.context, owner_of(services), question, answer="decline", said_by="Ida, by phone")
    page = day_sheet(new_page(java_script_enabled=False), serving)
    assert page.get_by_text("The customer answered about the Halyard 7 radio.").is_visible()
    assert re.search(r"\d\d:\d\d", page.locator(".bell .when").first.text_content() or "")
    shop.close()

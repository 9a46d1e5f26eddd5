"""The customer pages as served, in a real browser: axe, reflow, targets, language, no script needed, the code read."""

from __future__ import annotations

import io
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, BrowserContext

from notify.core.languages import LANGUAGES
from notify.store import bookings, tickets
from tests.parts.axe import bring_axe, found_by_axe
from tests.parts.browser import press
from tests.parts.claim_stage import play
from tests.parts.house import make_house
from tests.parts.live import serving
from tests.parts.shelved import shelve, token_of
from tests.web.test_gallery_pages import SIDEWAYS, SMALL_TARGETS, SPACED, _force

pytestmark = pytest.mark.real
ANSWERS = {"unknown": 404} | {f"over_{language}": 410 for language in LANGUAGES}


@dataclass
class Stage:
    """A served house with a page for every situation."""

    house: Any
    base: str
    paths: dict[str, str]


@pytest.fixture
def stage(database_urls: Any, clock: Any, tmp_path: Path, tzdata_only: None) -> Iterator[Stage]:
    house = make_house(tmp_path, database_urls("sqlite"), clock=clock)
    paths = play(house)
    listening = socket.create_server(("127.0.0.1", 0))
    base = f"http://127.0.0.1:{listening.getsockname()[1]}"
    with serving(house.services, listening):
        yield Stage(house, base, paths)
    house.services.close()


def window(browser: Browser, *, width: int, dark: bool = False, script: bool = True) -> BrowserContext:
    return browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme="dark" if dark else "light", java_script_enabled=script
    )


def visit(page: Any, stage: Stage, name: str) -> None:
    """Opens a page and unfolds its days; its status and language must be right."""
    answer = page.goto(stage.base + stage.paths[name])
    assert answer.status == ANSWERS.get(name, 200), name
    wanted = name[-2:] if name[-2:] in LANGUAGES and name[-3] == "_" else "en"
    assert page.locator("html").get_attribute("lang") == wanted, name


@pytest.mark.deep  # the demo's pages and every example are looked at each time
def test_axe_finds_nothing_on_any_served_customer_page(stage: Stage, chromium: Browser) -> None:
    findings, looked = [], 0
    for script in (True, False):
        context = window(chromium, width=360 if script else 1280)
        bring_axe(context)
        if not script:  # axe itself is a script, so only ours is kept away
            context.route("**/static/*.js", lambda route: route.abort())
        page = context.new_page()
        for name in (name for name in stage.paths if script or name.endswith("_en")):
            visit(page, stage, name)
            findings += [(name, script, *one) for one in found_by_axe(page, dark_too=True)]
            looked += 1
        context.close()
    print(f"FIGURE H1_claim pages={looked} findings={len(findings)}")
    assert not findings


def test_no_served_customer_page_scrolls_sideways_or_has_a_target_too_small(stage: Stage, chromium: Browser) -> None:
    failures, looked = [], 0
    context = window(chromium, width=320)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    for name in stage.paths:
        visit(page, stage, name)
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        failures += [(name, "plain", one) for one in page.evaluate(SIDEWAYS)]
        failures += [(name, "small", one) for one in page.evaluate(SMALL_TARGETS)]
        _force(page, SPACED)
        failures += [(name, "spaced", one) for one in page.evaluate(SIDEWAYS)]
        looked += 1
    page.evaluate("console.error('planted')")  # whatever a page complained of has come before this
    context.close()
    print(f"FIGURE H2_claim pages={looked} failures={len(failures)}")
    assert not failures
    assert [one for one in said if "404" not in one and "410" not in one] == ["planted"]


@pytest.mark.parametrize("script", [True, False])
def test_a_customer_in_a_hurry_books_moves_and_answers_with_and_without_script(
    stage: Stage, chromium: Browser, script: bool
) -> None:
    context = window(chromium, width=360, script=script)
    page = context.new_page()
    page.goto(stage.base + stage.paths["ready_en"])
    press(page.get_by_role("link", name="Choose a pickup time"))
    press(page.get_by_role("button", name="Tomorrow, Thursday, 26 November, 10:15"))
    assert page.get_by_role("heading", name="You collect tomorrow at 10:15.").is_visible()
    press(page.get_by_role("link", name="Choose another time"))
    press(page.get_by_role("button", name="Tomorrow, Thursday, 26 November, 17:30"))
    assert page.get_by_role("heading", name="You collect tomorrow at 17:30.").is_visible()
    press(page.get_by_role("button", name="Give this time up"))
    assert page.get_by_text("Your time is given up.").is_visible()
    page.goto(stage.base + stage.paths["question_en"])
    press(page.get_by_role("button", name="Yes, fit that one"))
    assert page.get_by_text("Thank you. We have your answer.").is_visible()
    press(page.get_by_role("button", name="Take this answer back"))
    assert page.get_by_role("heading", name="Your radio is waiting for your answer.").is_visible()
    press(page.get_by_role("button", name="Deutsch"))
    assert page.get_by_role("heading", name="Ihr Radio wartet auf Ihre Antwort.").is_visible()
    press(page.get_by_role("button", name="Italiano"))
    assert page.get_by_role("heading", name="La sua radio aspetta una sua risposta.").is_visible()
    assert page.get_by_text("Da ora le scriviamo in italiano.").is_visible()
    context.close()


def test_the_code_on_the_page_is_read_by_an_independent_reader_in_light_and_dark(
    stage: Stage, chromium: Browser
) -> None:
    for dark in (False, True):
        context = window(chromium, width=360, dark=dark)
        page = context.new_page()
        page.goto(stage.base + stage.paths["ready_en"])
        picture = Image.open(io.BytesIO(page.locator("#code").screenshot()))
        read = [code.text for code in zxingcpp.read_barcodes(picture)]
        assert read == ["https://bell.example.org" + stage.paths["ready_en"]]
        context.close()


def test_a_link_previewer_that_loads_everything_changes_nothing(stage: Stage, chromium: Browser) -> None:
    done = stage.house.check_in()
    shelve(stage.house, done.ticket_ids[0])
    context = window(chromium, width=360)
    page = context.new_page()
    page.goto(f"{stage.base}/c/{token_of(stage.house, done.ticket_ids[0])}")
    page.goto(f"{stage.base}/c/{token_of(stage.house, done.ticket_ids[0])}/slots")
    context.close()
    with stage.house.read() as unit:
        assert bookings.live_booking(unit, done.visit_id) is None
        assert tickets.get_ticket(unit, done.ticket_ids[0]).version == 4

"""The pickup times in a real browser: two taps counted, targets for a thumb, the keyboard, both widths and themes."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser

from notify.core.languages import LANGUAGES
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings
from tests.parts.browser import press
from tests.parts.shelved import shelve, token_of
from tests.web.test_claim_in_chromium import Stage, stage, window

__all__ = ["stage"]
pytestmark = pytest.mark.real
# Counted by the browser itself, over pages, and only what a finger or mouse really did.
COUNT = """
  addEventListener("pointerdown", event => {
    if (event.isTrusted) { sessionStorage.setItem("taps", 1 + Number(sessionStorage.getItem("taps"))); }
  }, true);
"""
# WCAG 2.5.5 (level AAA): 44 by 44 CSS px.
BELOW_44 = """() => [...document.querySelectorAll('.times button, .day summary')]
  .filter(one => one.getClientRects().length).map(one => [one.textContent.trim(), one.getBoundingClientRect()])
  .filter(([, box]) => box.width < 44 || box.height < 44).map(([text, box]) => `${text} ${box.width}x${box.height}`)"""


def fresh(stage: Stage, language: str = "en") -> tuple[str, str]:
    """A visit with one device ready: (visit, address of its claim page)."""
    done = stage.house.check_in(DeviceForm("Kestrel pocket radio", device_class="radio"), language=language)
    shelve(stage.house, done.ticket_ids[0])
    return done.visit_id, f"{stage.base}/c/{token_of(stage.house, done.ticket_ids[0])}"


def start_of(stage: Stage, visit_id: str) -> str:
    with stage.house.read() as unit:
        live = bookings.live_booking(unit, visit_id)
    return live.local_start if live else ""


def test_two_taps_from_the_claim_page_to_a_kept_time(stage: Stage, chromium: Browser) -> None:
    taps: list[int] = []
    for hour, language in enumerate(LANGUAGES, 13):  # two places a slot: each takes a slot of their own
        visit_id, address = fresh(stage, language)
        context = window(chromium, width=360)
        context.add_init_script(COUNT)
        page = context.new_page()
        page.goto(address)
        press(page.locator("#pickup a"))
        press(page.locator(f'button[value="2026-11-26T{hour}:15/0"]'))
        assert page.url.endswith("?said=booked")
        taps.append(int(page.evaluate("Number(sessionStorage.getItem('taps'))")))
        assert start_of(stage, visit_id) == f"2026-11-26T{hour}:15"
        context.close()
    print(f"FIGURE pickup_taps languages={len(taps)} taps={max(taps)}")
    assert max(taps) == min(taps) == 2


def test_the_same_with_the_keyboard_alone_and_without_script(stage: Stage, chromium: Browser) -> None:
    visit_id, address = fresh(stage)
    context = window(chromium, width=1280, script=False)
    page = context.new_page()
    page.goto(address)
    for wanted in ("Choose a pickup time", "Tomorrow, Thursday, 26 November, 09:00 in the morning"):
        page.keyboard.press("Home")
        for _ in range(120):
            page.keyboard.press("Tab")
            held = page.locator(":focus")
            if held.count() and " ".join(held.inner_text().split()) == wanted:
                break
        else:
            raise AssertionError(f"the keyboard never reaches {wanted}")
        assert held.evaluate("one => getComputedStyle(one).outlineStyle") != "none"
        with page.expect_navigation(wait_until="load"):
            page.keyboard.press("Enter")
    context.close()
    assert start_of(stage, visit_id) == "2026-11-26T09:00"


@pytest.mark.parametrize("width", [360, 1280])
def test_each_time_is_large_enough_for_a_thumb_in_light_and_dark(stage: Stage, chromium: Browser, width: int) -> None:
    looked = 0
    for dark in (False, True):
        context: Any = window(chromium, width=width, dark=dark)
        page = context.new_page()
        for language in LANGUAGES:
            page.goto(stage.base + stage.paths[f"slots_{language}"])
            page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
            assert page.evaluate(BELOW_44) == []
            looked += page.locator(".times button").count()
        context.close()
    print(f"FIGURE pickup_targets width={width} buttons={looked} below_44px=0")
    assert looked > 300

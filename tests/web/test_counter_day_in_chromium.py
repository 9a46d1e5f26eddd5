"""Today at the counter with one finger on a phone, and with the keyboard alone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser

from tests.web.gallery import ORIGIN, window

pytestmark = pytest.mark.real

# WCAG 2.2 SC 2.5.5: 44 by 44 CSS px for whatever is pressed to act.
SMALL = """() => [...document.querySelectorAll('#sheet a.button, #sheet button, main > p a.button')]
  .map(one => [one.textContent.trim(), one.getBoundingClientRect()])
  .filter(([, box]) => box.width < 44 || box.height < 44).map(([text, box]) => `${text} ${box.width}x${box.height}`)"""
HEADINGS = """() => [...document.querySelectorAll('main :is(h1, h2, h3)')]
  .filter(one => !one.closest('[hidden]')).map(one => one.tagName + ' ' + one.innerText)"""
SMALL_DAYS = "() => [...document.querySelectorAll('main > p a.button')].length"


def test_every_action_of_the_day_is_large_enough_for_a_thumb_at_360_pixels(chromium: Browser) -> None:
    context = window(chromium, width=360)
    page = context.new_page()
    page.goto(f"{ORIGIN}/page/pickups")
    pressed = page.locator("#sheet a.button, #sheet button").count()
    assert pressed >= 8 and page.evaluate(SMALL_DAYS) == 2
    assert page.evaluate(SMALL) == []
    context.close()


def test_the_tab_key_goes_through_the_day_in_the_order_it_is_read(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    page = context.new_page()
    page.goto(f"{ORIGIN}/page/pickups")
    page.locator("main h1").evaluate("one => { one.tabIndex = -1; one.focus() }")
    order = []
    for _ in range(40):
        page.keyboard.press("Tab")
        said = page.evaluate("() => document.activeElement.closest('#sheet') ? document.activeElement.innerText : ''")
        order += [" ".join(said.split())] if said else []
    labels = [one.partition(" –")[0] for one in order]
    assert labels[:6] == ["C9R-4F7H", "W8L-5T3N", "Hand back", "Call", "Move", "Give up"]
    read = page.locator("#sheet a, #sheet button").all_inner_texts()
    assert order[: len(read)] == [" ".join(one.split()) for one in read]
    context.close()


def test_headings_lead_a_screen_reader_from_slot_to_slot(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    page = context.new_page()
    page.goto(f"{ORIGIN}/page/pickups")
    found = page.evaluate(HEADINGS)
    assert [one.split()[0] for one in found] == ["H1", "H2", "H3", "H3", "H3", "H2", "H2"]
    assert "H3 11:30 1 of 2 free" in [" ".join(one.split()) for one in found]
    assert page.locator("[aria-current=time]").count() == 1
    context.close()

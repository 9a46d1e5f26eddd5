"""The counter without a mouse: sign in, check in under a minute, print; a refused form keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.parts.counter_hand import check_in, printed_code, sign_in
from tests.parts.fingers import PRESSES_A_SECOND_AT_40_WPM, pointers
from tests.parts.live import Live

pytestmark = pytest.mark.real


def test_one_device_is_checked_in_by_keyboard_in_under_a_minute(start_live: Callable[..., Live], page: Page) -> None:
    live = start_live()
    sign_in(live, page).go("Check in")
    keys = check_in(page)
    assert page.url.startswith(f"{live.base}/visits/"), page.inner_text("main")
    seconds = keys.presses / PRESSES_A_SECOND_AT_40_WPM
    print(f"FIGURE H4 fields={len(keys.fields)} keys={keys.presses} seconds_at_40wpm={seconds:.0f}")
    assert "Kestrel 40" in page.inner_text("main")
    assert printed_code(page, keys).startswith(f"{live.base}/c/")
    assert pointers(page) == 0
    assert len(keys.fields) <= 10 and seconds < 60


def test_a_refused_check_in_names_the_fields_and_keeps_what_was_typed(
    start_live: Callable[..., Live], page: Page
) -> None:
    live = start_live()
    sign_in(live, page).go("Check in")
    keys = check_in(page, phone="12", email="ines at example")
    assert page.locator(".problems li").count() >= 2
    assert keys.held()["words"].startswith("Please correct this")
    assert page.input_value("#name") == "Ines Farrow" and page.input_value("#fault-1") == "no sound"
    assert page.input_value("#phone") == "12" and page.is_checked("#phone_purposes-repair")
    keys.press("Tab")
    first = page.evaluate("document.activeElement.hash.slice(1)")
    keys.press("Enter")
    expect(page.locator(f"#{first}")).to_be_focused()
    assert first == "phone"
    assert page.locator("#phone").get_attribute("aria-describedby") == "phone-problem"

"""The counter without a mouse: sign in, check in under a minute, print; a refused form keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.parts.fingers import PRESSES_A_SECOND_AT_40_WPM, Keyboard, pointers, watch_pointers
from tests.parts.live import OWNER, PASSWORD, Live
from tests.parts.print_lab import raster, read_qrdec, read_zxing

pytestmark = pytest.mark.real


def sign_in(live: Live, page: Page) -> Keyboard:
    """Signs the owner in by keyboard; the day sheet is open then."""
    watch_pointers(page)
    page.goto(f"{live.base}/sign-in")
    keys = Keyboard(page)
    keys.type(OWNER)
    keys.to("Password")
    keys.type(PASSWORD)
    keys.enter()
    return keys


def check_in(page: Page, *, phone: str = "07700 900123", email: str = "ines@example.org") -> Keyboard:
    """Fills the check-in page as a practised hand does and sends it; the hand with its counts."""
    keys = Keyboard(page)
    assert keys.held()["id"] == "name", "the first field is ready to be typed into"
    keys.type("Ines Farrow")
    for label, text in (("Mobile or phone", phone), ("E-mail", email)):
        keys.to(label)
        keys.type(text)
        keys.to("News about the repair")
        keys.tick()
        keys.to("Pickup times")
        keys.tick()
    keys.to("Kind")
    keys.type("p")  # the list jumps to "Portable radio"
    keys.to("Make and model")
    keys.type("Kestrel 40")
    keys.to("What is wrong")
    keys.type("no sound")
    keys.enter()
    return keys


def printed_code(page: Page, keys: Keyboard) -> str:
    """Prints the claim ticket of the page by keyboard; what both readers find in its dots."""
    keys.to("80 mm roll")
    with page.context.expect_event("response", lambda answer: answer.url.endswith(".pdf")) as opened:
        keys.press("Enter")
    answer = page.context.request.get(opened.value.url)
    assert answer.headers["content-type"] == "application/pdf"
    dots = raster(answer.body())[0]
    assert read_zxing(dots) == read_qrdec(dots) != ""
    return read_zxing(dots)


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
    assert keys.held()["id"] == first == "phone"
    assert page.locator("#phone").get_attribute("aria-describedby") == "phone-problem"

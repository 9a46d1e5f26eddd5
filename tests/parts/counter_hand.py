"""What a practised hand does at the counter, by keyboard only: sign in, check a radio in, print its claim ticket."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.parts.fingers import Keyboard, watch_pointers
from tests.parts.live import OWNER, PASSWORD, Live
from tests.parts.print_lab import raster, read_qrdec, read_zxing


def sign_in(live: Live, page: Page) -> Keyboard:
    """Signs the owner in by keyboard; the day sheet is open then."""
    watch_pointers(page)
    page.goto(f"{live.base}/sign-in")
    keys = Keyboard(page)
    expect(page.locator("#name")).to_be_focused()  # a browser gives the focus a moment after the page is there
    keys.type(OWNER)
    keys.to("Password")
    keys.type(PASSWORD)
    keys.enter()
    return keys


def check_in(page: Page, *, phone: str = "07700 900123", email: str = "ines@example.org") -> Keyboard:
    """Fills the check-in page as a practised hand does and sends it; the hand with its counts."""
    keys = Keyboard(page)
    expect(page.locator("#name"), "the first field is ready to be typed into").to_be_focused()
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
    keys.press("Tab")  # Enter makes a new line in a box of several lines, and checks in everywhere else
    keys.enter()
    return keys


def printed_code(page: Page, keys: Keyboard) -> str:
    """Prints the claim ticket of the page by keyboard and comes back to it; what both readers find in its dots."""
    keys.to("80 mm roll")
    with page.expect_navigation(url="**/*.pdf"):
        keys.press("Enter")
    answer = page.context.request.get(page.url)
    page.go_back()
    expect(page.get_by_role("link", name="80 mm roll").first).to_be_visible()
    assert answer.headers["content-type"] == "application/pdf"
    dots = raster(answer.body())[0]
    assert read_zxing(dots) == read_qrdec(dots) != ""
    return read_zxing(dots)

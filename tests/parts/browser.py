"""The system's own Chromium, driven by Playwright, kept on this machine.

A click waits until the next page begins to load, not until it is there: what is read next may be missing yet. So
whatever leads to another page is pressed with `press` here, or with the hands of `tests.parts.fingers`; what a script
changes is waited for with `expect`, and before something is said to be missing, something of the new page was seen.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

from tests.parts.missing import missing

CHROMIUM = Path(os.environ.get("SHELFBELL_TEST_CHROMIUM", "/usr/bin/chromium"))
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # A page that names another machine finds nobody there.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
]

# Only a page that hangs is given up; a slow machine is none of a test's business.
PATIENCE_MS = 30_000
expect.set_options(timeout=PATIENCE_MS)


def press(target: Locator) -> None:
    """Clicks a link or button that leads to another page and waits until that page is there, whole."""
    with target.page.expect_navigation(wait_until="load"):
        target.click()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser per run (and per worker). While it is open, this thread cannot call asyncio.run()."""
    if not CHROMIUM.exists():
        missing("Chromium", "as root: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def new_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Opens pages with Playwright's context options: `new_page(java_script_enabled=False, locale="de-DE")`.

    Each page has its own cookies; a page error fails the test when it ends.
    """
    contexts = []
    errors: list[str] = []

    def make(**options: Any) -> Page:
        options.setdefault("viewport", {"width": 1280, "height": 900})
        contexts.append(chromium.new_context(**options))
        page = contexts[-1].new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("pageerror", lambda error: errors.append(str(error)))
        return page

    yield make
    for context in contexts:
        context.close()
    assert not errors, f"scripts on the page failed: {errors}"


@pytest.fixture
def page(new_page: Callable[..., Page]) -> Page:
    """One desktop-sized page."""
    return new_page()

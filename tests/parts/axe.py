"""Asks axe-core what it finds on a page: its script comes with the window, and only what is wrong comes back."""

from __future__ import annotations

from typing import Any

from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import BrowserContext, Page

_LOOK = "only => axe.run(only.length ? {runOnly: only, resultTypes: ['violations']} : {resultTypes: ['violations']})"
# Only colours differ in the dark; the other rules have looked at the same page in the light.
COLOURS = ("color-contrast", "link-in-text-block")


def bring_axe(context: BrowserContext) -> None:
    """Every page that this window opens from now on has axe; past the page's policy, as a browser extension has."""
    context.add_init_script(path=AXE_FILE_PATH)


def found_by_axe(page: Page, *, dark_too: bool = False) -> list[tuple[str, str, str]]:
    """(scheme, rule, first element) for each finding of all rules; in the dark then for the rules about colours."""
    findings = _look(page, "as opened", ())
    if dark_too:
        page.emulate_media(color_scheme="dark", reduced_motion="reduce")  # else colours are still on their way
        findings += _look(page, "dark", COLOURS)
        page.emulate_media(color_scheme="light", reduced_motion="null")
    return findings


def _look(page: Page, scheme: str, only: tuple[str, ...]) -> list[tuple[str, str, str]]:
    found: list[dict[str, Any]] = page.evaluate(f"async only => (await ({_LOOK})(only)).violations", list(only))
    return [(scheme, one["id"], one["nodes"][0]["html"][:90]) for one in found]

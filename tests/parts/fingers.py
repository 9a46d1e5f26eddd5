"""Hands for tests: one pair that has only a keyboard, one that has only a thumb; both count what they do."""

from __future__ import annotations

from playwright.sync_api import Locator, Page

# A word is five signs (the usual measure of typing speed), so 40 words a minute are 200 presses a minute.
PRESSES_A_SECOND_AT_40_WPM = 200 / 60
_COUNT_POINTERS = """
  addEventListener("pointerdown", event => {
    if (event.isTrusted) { sessionStorage.setItem("pointers", 1 + Number(sessionStorage.getItem("pointers"))); }
  }, true);
"""
_HELD = """() => {
  const one = document.activeElement;
  const label = (one.labels && one.labels[0] ? one.labels[0] : one).textContent;
  return {words: label.replace(/\\s+/g, " ").trim(), field: one.matches("input, select, textarea"), id: one.id};
}"""


class Keyboard:
    """Reaches everything by Tab and the keys of each field, as somebody without a mouse does."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = 0
        self.fields: set[str] = set()

    def press(self, key: str, *, times: int = 1) -> None:
        """Presses a key."""
        for _ in range(times):
            self.page.keyboard.press(key)
        self.presses += times

    def type(self, text: str) -> None:
        """Types into whatever has the focus; it counts as a filled field."""
        self.fields.add(self.held()["id"])
        self.page.keyboard.type(text)
        self.presses += len(text)

    def tick(self) -> None:
        """Ticks the box that has the focus."""
        self.fields.add(self.held()["id"])
        self.press("Space")

    def held(self) -> dict[str, str]:
        """What has the focus: the words of its label, or its own."""
        found: dict[str, str] = self.page.evaluate(_HELD)
        return found

    def to(self, words: str, *, back: bool = False, most: int = 80) -> None:
        """Goes on by Tab until the thing with these words has the focus."""
        seen = []
        for _ in range(most):
            self.press("Shift+Tab" if back else "Tab")
            seen.append(self.held()["words"])
            if seen[-1].startswith(words):
                return
        raise AssertionError(f"Tab never reached {words!r}; it passed {seen}")

    def go(self, words: str, *, back: bool = False) -> None:
        """Goes to a link or button and presses it; waits for the page behind it."""
        self.to(words, back=back)
        self.enter()

    def enter(self) -> None:
        """Presses Enter and waits for the page that answers."""
        with self.page.expect_navigation(wait_until="load"):
            self.press("Enter")


class Thumb:
    """Taps, as on a phone."""

    def __init__(self) -> None:
        self.taps = 0

    def tap(self, target: Locator) -> None:
        """Taps something that leads to another page."""
        with target.page.expect_navigation(wait_until="load"):
            target.tap()
        self.taps += 1


def watch_pointers(page: Page) -> None:
    """Counts every press of a mouse or finger on this page from now on; read it with `pointers`."""
    page.add_init_script(_COUNT_POINTERS)


def pointers(page: Page) -> int:
    """How often mouse or finger was pressed on this page's site."""
    return int(page.evaluate('Number(sessionStorage.getItem("pointers"))'))

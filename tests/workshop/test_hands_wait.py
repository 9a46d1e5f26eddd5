"""No test reads a page right after a bare click, which waits only until the next page begins to load.

Source: `Locator.click`, option `no_wait_after`, in the documentation that Playwright 1.65 carries ("for pages to start
loading"), which also says that later versions will not wait at all.
"""

from __future__ import annotations

import re
from pathlib import Path

TESTS = Path(__file__).parents[1]
HANDS = {TESTS / "parts" / "browser.py", TESTS / "parts" / "fingers.py", Path(__file__)}
BARE = re.compile(r"(?<!Thumb\(\))(?<!thumb)\.(click|dblclick|tap|wait_for_load_state)\(")
STAYS = "# the page stays"


def bare_clicks(text: str) -> list[str]:
    """Lines that click and neither wait around it nor right after it, nor say that the page stays."""
    lines = [line.strip() for line in text.splitlines()]
    around = zip(["", *lines], lines, [*lines[1:], ""], strict=False)
    return [
        line
        for before, line, after in around
        if BARE.search(line) and ".expect_" not in before and not after.startswith("expect(") and STAYS not in line
    ]


def test_whatever_leads_to_another_page_is_pressed_by_hands_that_wait() -> None:
    files = [one for one in TESTS.rglob("*.py") if "node_modules" not in one.parts and one not in HANDS]
    found = {str(one.relative_to(TESTS)): lines for one in files if (lines := bare_clicks(one.read_text("utf-8")))}
    print(f"FIGURE bare_clicks files={len(files)} found={sum(map(len, found.values()))}")
    assert found == {}, "use tests.parts.browser.press, Thumb.tap or expect(...), or mark the line '# the page stays'"


def test_a_planted_bare_click_is_found_and_one_that_is_waited_for_is_not() -> None:
    planted = 'page.get_by_role("button").click()\nassert page.locator("h1").is_visible()\n'
    assert bare_clicks(planted) == ['page.get_by_role("button").click()']
    assert bare_clicks('page.get_by_role("button").click()\nexpect(page.locator("h1")).to_be_visible()\n') == []
    assert bare_clicks('with page.expect_navigation():\n    page.locator("a").click()\n') == []
    assert bare_clicks('page.locator("#more").tap()  # the page stays\n') == []

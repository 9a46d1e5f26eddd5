"""The preview page: any message in any language with invented facts, from the shop's own texts, and nothing sent."""

from __future__ import annotations

from html import unescape

import pytest

from notify.core.languages import LANGUAGES
from notify.core.notices import NOTICES
from notify.web.headers import LETTER_POLICY
from tests.parts.house import House
from tests.web.conftest import Browser, make_app, sign_in


@pytest.fixture
def browser(house: House) -> Browser:
    """Somebody at the counter."""
    return sign_in(make_app(house), house, role="counter")


@pytest.mark.long
def test_every_message_can_be_seen_in_every_language_on_the_page(browser: Browser) -> None:
    shown = 0
    for notice in NOTICES:
        for language in LANGUAGES:
            page = browser.get(f"/previews?notice={notice}&language={language}&battery=1&several=1")
            assert page.status_code == 200, (notice, language)
            assert "Tramstop Bench" in unescape(page.get_data(as_text=True))
            letter = browser.get(f"/previews/html?notice={notice}&language={language}")
            assert letter.headers["Content-Security-Policy"] == LETTER_POLICY
            assert f'lang="{language}"' in letter.get_data(as_text=True)
            shown += 1
    print(f"FIGURE previews shown={shown} of={len(NOTICES) * len(LANGUAGES)}")


def test_what_cannot_be_asked_for_shows_the_first_message_and_is_not_an_error(browser: Browser) -> None:
    page = browser.get("/previews?notice=%3Cscript%3E&language=xx&battery=%00")
    assert page.status_code == 200 and "<script>" not in page.get_data(as_text=True)


def test_looking_at_a_message_sends_and_keeps_nothing(house: House, browser: Browser) -> None:
    browser.get("/previews?notice=ready")
    assert house.deliver(after=1000) == 0
    assert not any(channel.sent for channel in house.channels.values())

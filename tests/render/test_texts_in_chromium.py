"""Every HTML mail as a real browser shows it: no sideways scrolling, readable in light and dark, sound for axe."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from notify.paths import templates_folder
from notify.render.email_html import prepare_html
from notify.render.texts import Texts
from tests.render.contexts import CUSTOMER, LANGUAGES, SHOP, rich

pytestmark = pytest.mark.real

RULES = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]
LONG = "Extraordinarily-long-camera-name-without-any-space-in-it-at-all-0123456789"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_mail_reads_well_at_phone_and_desk_width(new_page: Callable[..., Page], scheme: str) -> None:
    texts = Texts(templates_folder() / "messages", LANGUAGES)
    page = new_page(color_scheme=scheme)
    mails, findings = 0, []
    for language in LANGUAGES:
        for notice in (*CUSTOMER, *SHOP):
            html = texts.render(language=language, notice=notice, part="html", context=rich(notice, language))
            page.set_content(prepare_html(html))
            for width in (320, 360, 800):
                page.set_viewport_size({"width": width, "height": 900})
                page.wait_for_function("width => innerWidth === width", arg=width)
                assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{notice} {width}"
            # axe-core, an independent judge of contrast (WCAG AA), names, language and structure
            result = Axe().run(page, options={"runOnly": RULES})
            findings += [(language, notice, found["id"]) for found in result.response["violations"]]
            mails += 1
    print(f"FIGURE html_mails_{scheme} mails={mails} axe_findings={len(findings)}")
    assert findings == []


def test_dark_mode_reaches_the_inlined_mail_and_the_button_stays_big_enough(new_page: Callable[..., Page]) -> None:
    texts = Texts(templates_folder() / "messages", LANGUAGES)
    html = prepare_html(texts.render(language="en", notice="ready", part="html", context=rich("ready", "en")))
    papers = {}
    for scheme in ("light", "dark"):
        page = new_page(color_scheme=scheme)
        page.set_content(html)
        papers[scheme] = page.evaluate("getComputedStyle(document.body).backgroundColor")
        box = page.locator(".button").bounding_box()
        assert box is not None and box["height"] >= 44
    assert papers == {"light": "rgb(247, 244, 236)", "dark": "rgb(21, 25, 26)"}


def test_a_name_without_spaces_does_not_widen_the_mail(new_page: Callable[..., Page]) -> None:
    texts = Texts(templates_folder() / "messages", LANGUAGES)
    context = rich("ready", "en")
    context["devices"] = [{**context["devices"][0], "device": LONG}]
    page = new_page(viewport={"width": 320, "height": 600})
    page.set_content(prepare_html(texts.render(language="en", notice="ready", part="html", context=context)))
    assert page.evaluate("document.documentElement.scrollWidth") <= 320

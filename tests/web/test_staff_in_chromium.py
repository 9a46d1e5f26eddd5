"""The shop's real pages in a real browser: axe in light and dark, no sideways scrolling, no complaint."""

from __future__ import annotations

import dataclasses
import re
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import Page, expect
from waitress.server import create_server  # type: ignore[import-untyped]

from notify.store import messages
from tests.parts.axe import bring_axe, found_by_axe
from tests.parts.browser import PATIENCE_MS
from tests.parts.full_shop import FullShop
from tests.web.conftest import make_app, sign_in
from tests.web.staff_pages import LISTS
from tests.web.test_gallery_pages import SIDEWAYS, SMALL_TARGETS

# One database is enough for what a browser sees; the pages read the same from both.
pytestmark = [pytest.mark.real, pytest.mark.parametrize("full_day", ["sqlite"], indirect=True, scope="module")]


@dataclasses.dataclass
class Served:
    """The filled shop behind a real server on loopback, with the owner's session."""

    shop: FullShop
    address: str
    secret: str
    shop_id: str

    def open(self, chromium: Chromium, **options: Any) -> Page:
        """A window of somebody signed in; errors of the page end up in `page.said`."""
        context = chromium.new_context(viewport={"width": options.pop("width", 1280), "height": 800}, **options)
        context.add_cookies([{"name": "shelfbell", "value": f"{self.shop_id}.{self.secret}", "url": self.address}])
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        return page

    def paths(self) -> list[str]:
        """Every list and ticket, and one message of each channel."""
        with self.shop.house.read() as unit:
            sent = {
                m.channel: m.id for m in messages.list_messages(unit, limit=500) if m.has_bytes or m.state == "to_call"
            }
        return [
            *LISTS,
            *(f"/tickets/{i}" for i in self.shop.tickets.values()),
            *(f"/messages/{i}" for i in sent.values()),
        ]


@pytest.fixture(scope="module")
def served(full_day: FullShop) -> Iterator[Served]:
    """Plain http on loopback: cookies without the prefix that needs TLS."""
    services = full_day.house.services
    web = dataclasses.replace(services.settings.web, behind_tls=False)
    house = dataclasses.replace(
        full_day.house,
        services=dataclasses.replace(services, settings=dataclasses.replace(services.settings, web=web)),
    )
    app = make_app(house)
    owner = sign_in(app, house, role="owner", name="Ada Quill")
    server = create_server(app, host="127.0.0.1", port=0, threads=2)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield Served(full_day, f"http://127.0.0.1:{server.effective_port}", owner.secret, owner.shop_id)
    server.close()
    thread.join(5)


@pytest.mark.deep  # the demo's pages and every example are looked at each time
def test_axe_finds_nothing_on_any_real_page_of_the_shop_in_light_or_dark(served: Served, chromium: Chromium) -> None:
    found, looked = [], 0
    page = served.open(chromium)
    bring_axe(page.context)
    for path in served.paths():
        page.goto(served.address + path)
        # Closed details hide half of a ticket's forms from every checker.
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        found += [(path, *one) for one in found_by_axe(page, dark_too=True)]
        looked += 1
    page.context.close()
    print(f"FIGURE H1_staff pages={looked} findings={len(found)}")
    assert looked > 40 and not found


def test_no_real_page_scrolls_sideways_or_has_small_targets_on_a_phone(served: Served, chromium: Chromium) -> None:
    failures, looked = [], 0
    for width in (320, 360):
        page = served.open(chromium, width=width)
        for path in served.paths():
            page.goto(served.address + path)
            page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
            failures += [(width, path, one) for one in (*page.evaluate(SIDEWAYS), *page.evaluate(SMALL_TARGETS))]
            looked += 1
        page.context.close()
    print(f"FIGURE H2_staff pages={looked} failures={len(failures)}")
    assert not failures


def test_no_page_of_the_shop_makes_the_browser_complain(served: Served, chromium: Chromium) -> None:
    said: list[str] = []
    page = served.open(chromium)
    page.on("console", lambda message: said.append(f"{message.location['url']} {message.text}"))
    page.on("pageerror", lambda error: said.append(f"{page.url} {error}"))
    for path in served.paths():
        page.goto(served.address + path)
    page.evaluate("console.error('planted')")  # whatever a page complained of has come before this
    page.context.close()
    assert [one.split()[-1] for one in said if "/favicon.ico" not in one] == ["planted"], said


def test_a_planted_fault_on_a_real_page_is_found(served: Served, chromium: Chromium) -> None:
    page = served.open(chromium, width=320)
    bring_axe(page.context)
    page.goto(f"{served.address}/calls")
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=x><input>')")
    assert {"image-alt", "label"} <= {rule for _, rule, _ in found_by_axe(page)}
    page.context.close()


def test_the_letter_is_shown_in_a_frame_that_can_do_nothing(served: Served, chromium: Chromium) -> None:
    with served.shop.house.read() as unit:
        mails = [
            m for m in messages.list_messages(unit, limit=500) if m.channel == "email" and m.has_bytes and m.person_id
        ]
    page = served.open(chromium)
    page.goto(f"{served.address}/messages/{mails[0].id}")
    expect(page.frame_locator("iframe.letter").locator("body")).to_have_text(re.compile(r"\S"))
    answer = page.request.get(f"{served.address}/messages/{mails[0].id}/html")
    policy = answer.headers["content-security-policy"]
    assert "sandbox" in policy and "default-src 'none'" in policy and "frame-ancestors 'self'" in policy
    page.context.close()

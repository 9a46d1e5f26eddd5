"""Every page as it is served, in a shop full of repairs: axe in light and dark, reflow, targets, text spacing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page

from notify.cli.demo_shop import PEOPLE
from notify.cli.demo_stage import Stage
from notify.core.actors import Actor
from notify.core.one_click import Use, make_stop_token
from notify.core.sources import Batch, Change
from notify.core.tickets import Phase
from notify.flows import pads, passes, take_changes
from notify.store import doubts, erasing, messages, parts, requests, tickets
from notify.web.routes import ROUTES
from tests.parts.axe import bring_axe, found_by_axe
from tests.parts.town import town
from tests.web.test_gallery_pages import SIDEWAYS, SMALL_TARGETS, SPACED

pytestmark = pytest.mark.real

# Answers that are no page of ours: files, pictures, and the bare letter inside its frame.
FILES = ("healthz", "/static/", "/api/", ".pdf", ".json", ".svg", ".ics", "/html")
ENOUGH = 24  # the least number of addresses that a full shop gives


@pytest.fixture
def shop(tmp_path: Path, tzdata_only: None) -> Iterator[tuple[Stage, str]]:
    """The demo's shop on its fixed afternoon."""
    with town(tmp_path) as made:
        yield made


def addresses(stage: Stage) -> list[str]:
    """Each page's rule filled with things of the shop: a ticket of every phase, every claim that is worth showing."""
    with stage.ctx.db.read(stage.shop_id) as unit:
        each = {one.phase: one for one in tickets.tickets_in(unit, list(Phase))}
        parts_here = [one.id for one in parts.parts_in(unit, ("ordered", "arrived"))][:2]
        asked = [one.id for one in requests.open_requests(unit)][:1]
        erased = [one.id for one in erasing.list_erasures(unit)][:1]
        letters = [one.id for one in messages.messages_of_visit(unit, each[Phase.ON_SHELF].visit_id)]
    use = Use(each[Phase.ON_SHELF].person_id, "email", "afterwards")
    given = passes.give(stage.ctx, stage.owner, each[Phase.ON_SHELF].visit_id, name="Bo Farrow")
    claims = [link.rpartition("/")[2] for link in stage.links.values()]
    filled = {
        "ticket_id": [one.id for one in each.values()],
        "visit_id": [one.visit_id for one in each.values() if one.phase in (Phase.TAKEN_IN, Phase.ON_SHELF)],
        "token": [*claims, "nobody"], "message_id": letters[:2],
        "code": [given.code, "nobody"], "doubt_id": [_doubt(stage)], "part_id": parts_here,
        "pad_id": [pads.make_pad(stage.ctx, stage.owner, tickets=2)],
        "number": [each[Phase.ON_SHELF].number], "request_id": asked, "record_id": erased,
        "link": [make_stop_token(use, key=stage.services.secret), "nobody"],
    }  # fmt: skip
    found = []
    for rule in (rule for rule, who in ROUTES.items() if "GET" in who.methods and not any(f in rule for f in FILES)):
        name = rule.partition("<")[2].partition(">")[0]
        found += [rule.replace(f"<{name}>", one) for one in filled[name]] if name else [rule]
    return found


def _doubt(stage: Stage) -> str:
    """A change that a person has to decide about."""
    batch, odd = Batch("bench", "tickets", "UTC", {}, {}), Change(2, {"reference": "J1", "phase": "perhaps"})
    take_changes.take(stage.ctx, Actor(stage.shop_id, "source", "bench"), batch, [odd])
    with stage.ctx.db.read(stage.shop_id) as unit:
        return str(doubts.list_open(unit)[-1].id)


def sign_in(page: Page, base: str) -> None:
    """The owner of the demo."""
    page.goto(f"{base}/sign-in")
    page.fill("#name", PEOPLE[0][0])
    page.fill("#password", PEOPLE[0][2])
    with page.expect_navigation():
        page.press("#password", "Enter")


def opened(page: Page, address: str) -> None:
    """Opens a page and everything that is folded away on it."""
    answer = page.goto(address)
    # 409: in words as well, such as that a device is not on the shelf.
    assert answer is not None and answer.status in (200, 404, 409), (address, answer and answer.status)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.deep)])  # each template: gallery
def test_axe_finds_nothing_on_any_served_page(
    shop: tuple[Stage, str], new_page: Callable[..., Page], scheme: str
) -> None:
    (stage, base), findings, looked = shop, [], 0
    paths = addresses(stage)
    page = new_page(color_scheme=scheme)
    bring_axe(page.context)
    sign_in(page, base)
    for path in paths:
        opened(page, base + path)
        findings += [(path, scheme, *one) for one in found_by_axe(page)]
        looked += 1
    print(f"FIGURE H1_served pages={looked} findings={len(findings)}")
    assert len(paths) >= ENOUGH and findings == []


def test_no_served_page_scrolls_sideways_at_320_pixels_or_has_a_small_target(
    shop: tuple[Stage, str], new_page: Callable[..., Page]
) -> None:
    (stage, base), failures = shop, []
    paths = addresses(stage)
    page = new_page(viewport={"width": 320, "height": 800})
    sign_in(page, base)
    for path in paths:
        opened(page, base + path)
        failures += [(path, "plain", one) for one in page.evaluate(SIDEWAYS)]
        failures += [(path, "small", one) for one in page.evaluate(SMALL_TARGETS)]
        page.evaluate(
            "css => { const sheet = new CSSStyleSheet(); sheet.replaceSync(css);"
            " document.adoptedStyleSheets = [sheet] }", SPACED,
        )  # fmt: skip
        failures += [(path, "spaced", one) for one in page.evaluate(SIDEWAYS)]
    print(f"FIGURE H2_served pages={len(paths)} failures={len(failures)}")
    assert len(paths) >= ENOUGH and failures == []

"""Pages with several shops in one installation: which shop a page speaks of, and what one says of another's things."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from flask import Flask

from notify.core.actors import Actor
from notify.flows import keep_rules, pads, set_up
from notify.flows.privacy_address import privacy_address, shop_meant
from notify.store import tickets
from tests.parts.house import SHOP
from tests.web.conftest import Browser

pytestmark = pytest.mark.long  # each has a shop of its own

PIER = {
    **SHOP,
    "name": "Pier Bench",
    "address": "2 Pier, Quillhaven",
    "phone": "+44 1632 960777",
}


@pytest.fixture
def pier(house: Any) -> Any:
    """A second shop, which keeps contacts for 45 days."""
    shop_id = set_up.make_shop(house.ctx, settings=PIER)
    owner = Actor(shop_id, "staff", "owner-of-the-pier", "owner")
    keep_rules.change_rule(house.ctx, owner, "contact_card", period="P45D")
    house.clock.advance(86400)  # a shorter period counts from tomorrow
    return replace(house, shop_id=shop_id, actors={"owner": owner})


def link_of(house: Any) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, house.check_in().ticket_ids[0]).token)


def test_a_claim_page_leads_to_what_its_own_shop_keeps(app: Flask, house: Any, pier: Any) -> None:
    client = app.test_client()
    claim = client.get(f"/c/{link_of(pier)}").text
    href = f"/privacy?language=en&amp;shop={pier.shop_id}"
    assert href in claim and SHOP["name"] not in claim
    theirs = client.get(href.replace("&amp;", "&")).text
    assert "Pier Bench" in theirs and "45 days" in theirs and SHOP["name"] not in theirs
    assert f"/privacy?language=de&amp;shop={pier.shop_id}" in theirs


@pytest.mark.parametrize("asked", ["", "&shop=", "&shop=0", "&shop=nonsense", "&shop=" + "a" * 400])
def test_what_is_kept_is_said_of_no_shop_before_one_is_chosen(app: Flask, house: Any, pier: Any, asked: str) -> None:
    page = app.test_client().get(f"/privacy?language=it{asked}")
    assert page.status_code == 200 and "In quale negozio" in page.text and "45 giorni" not in page.text
    assert f"shop={pier.shop_id}" in page.text and f"shop={house.shop_id}" in page.text


def test_a_page_of_no_shop_calls_nobody(app: Flask, house: Any, pier: Any) -> None:
    for path in ("/lost", "/c/" + "b" * 32, "/privacy"):
        said = app.test_client().get(path).text
        assert "Pier Bench" in said and SHOP["name"] in said and "tel:" not in said, path


def test_with_one_shop_nothing_is_asked(app: Flask, house: Any) -> None:
    said = app.test_client().get("/privacy?language=en").text
    assert SHOP["name"] in said and "Which shop" not in said and "shop=" not in said


def test_paper_names_the_shop_only_where_there_are_several(house: Any) -> None:
    ctx = replace(house.ctx, public_url="https://bell.example.org/")
    assert privacy_address(ctx, house.shop_id, "de") == "https://bell.example.org/privacy?language=de"
    other = set_up.make_shop(house.ctx, settings=PIER)
    for mine in (house.shop_id, other):  # these two begin with the same letters, so a few more stand there
        said = privacy_address(ctx, mine, "")
        short = said.removeprefix("https://bell.example.org/privacy?shop=").removesuffix("&language=")
        assert shop_meant((house.shop_id, other), short) == mine
    assert not shop_meant((house.shop_id, other), house.shop_id[:8]) and not shop_meant((other,), other[:7])


def test_the_scan_field_says_kindly_that_it_is_none_of_ours(app: Flask, house: Any, pier: Any,
                                                            signed_in: Browser) -> None:  # fmt: skip
    done = pier.check_in()
    with pier.read() as unit:
        ticket = tickets.get_ticket(unit, done.ticket_ids[0])
    pads.make_pad(pier.ctx, pier.actor(), tickets=1)
    foreign = (done.numbers[0], f"https://bell.example.org/c/{ticket.token}", ticket.token)
    for scan in foreign:
        answer = signed_in.post("/scan", {"scan": scan})
        page = signed_in.get(answer.headers["Location"]).text
        assert answer.headers["Location"] == "/" and "Pier" not in page and "Ines" not in page
        assert done.visit_id not in page and done.ticket_ids[0] not in page
        assert 'class="scan-said"' in page

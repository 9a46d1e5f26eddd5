"""Boxes on pages: scanned by slip or article, booked in with what is missing, given away, asked about, sent back."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time
from typing import Any

import pytest

from notify.flows import another_came, parts, set_up
from notify.flows.view_deliveries import view
from notify.flows.view_ticket import view as ticket_view
from tests.web.conftest import Browser

pytestmark = pytest.mark.long
NAME = "Breakwater Parts"


@pytest.fixture
def box(house: Any) -> dict[str, str]:
    """A box of two parts for two tickets, both on one packing slip; Thursday at ten."""
    set_up.put_supplier(house.ctx, house.actor(), name=NAME, cutoff=None, delivers_at=time(10), days=1)
    house.clock.set(datetime(2026, 11, 25, 11, tzinfo=UTC))
    found = {}
    for name, article in (("cone", "SC-4"), ("dial", "D 1")):
        ticket = house.check_in().ticket_ids[0]
        terms = parts.Terms(article=article, slip="PS 77/a", order_ref="2026/17")
        found[name] = parts.need(house.ctx, house.actor(), ticket, name=name, supplier=NAME, terms=terms)
        found[f"{name} ticket"] = ticket
    house.clock.set(datetime(2026, 11, 26, 10, tzinfo=UTC))
    return found


def text(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", answer.get_data(as_text=True))).replace("&#39;", "'")


def states(house: Any, box: dict[str, str]) -> list[str]:
    whole = [p for name in ("cone", "dial") for p in ticket_view(house.ctx, house.actor(), box[f"{name} ticket"]).parts]
    return [one.state for one in whole]


def test_a_scanned_slip_order_or_article_opens_its_box_with_everything_ticked(
    house: Any, box: dict[str, str], signed_in: Browser
) -> None:
    both = {box["cone"], box["dial"]}
    for typed, inside in (("PS 77/a", both), ("ps77/A", both), ("2026/17", both), (" sc-4 ", {box["cone"]})):
        there = signed_in.post("/scan", {"scan": typed}).headers["Location"]
        assert there.startswith("/deliveries/box?code=")
        page = signed_in.get(there).get_data(as_text=True)
        assert set(re.findall(r'name="part" value="([^"]+)" checked', page)) == inside, typed
    assert states(house, box) == ["ordered", "ordered"]


def test_what_a_scan_does_not_know_is_said_as_before(box: dict[str, str], signed_in: Browser) -> None:
    for unknown in ("PS 78", "https://elsewhere.example/x", "x" * 500):
        assert signed_in.post("/scan", {"scan": unknown}).headers["Location"] == "/"


def test_what_is_missing_stays_on_order_and_is_said(house: Any, box: dict[str, str], signed_in: Browser) -> None:
    seen = {f"seen-{one.part_id}": str(one.changes) for b in view(house.ctx, house.actor()).boxes for one in b.parts}
    assert signed_in.post("/deliveries/arrived", {**seen, "part": box["cone"]}).status_code == 303
    page = text(signed_in.get("/deliveries"))
    assert "One part is booked in. One part was not in the box and stays on order." in page
    assert f"Others of its box came at 10:00, this one did not. Ask {NAME} where it is." in page
    assert states(house, box) == ["arrived", "ordered"]
    assert signed_in.post("/deliveries/arrived", {**seen, "part": box["cone"]}).status_code == 303
    assert "is booked in already" in text(signed_in.get("/deliveries"))
    assert signed_in.post(f"/parts/{box['cone']}/not-here").status_code == 303
    assert states(house, box) == ["ordered", "ordered"]


def test_a_part_given_to_the_other_ticket_says_why_and_goes_back_with_one_tap(
    house: Any, box: dict[str, str], signed_in: Browser
) -> None:
    other = house.check_in().ticket_ids[0]
    spare = parts.need(house.ctx, house.actor(), other, name="cone", terms=parts.Terms(article="SC-4"))
    signed_in.post(f"/parts/{box['cone']}/arrived", {"back": "/deliveries"})
    page = signed_in.get("/deliveries").get_data(as_text=True)
    number = ticket_view(house.ctx, house.actor(), other).line.number
    assert f"Give it to {number} instead" in page and f'value="{spare}"' in page
    assert signed_in.post(f"/parts/{box['cone']}/give", {"to": spare}).status_code == 303
    assert f"It is {number}'s now" in text(signed_in.get("/deliveries"))
    assert signed_in.post(f"/parts/{box['cone']}/give", {"to": spare}).status_code == 303
    assert "not here to be given" in text(signed_in.get("/deliveries"))


def test_another_part_that_came_is_asked_about_and_sent_back_on_paper(
    house: Any, box: dict[str, str], signed_in: Browser
) -> None:
    page = text(signed_in.get(f"/parts/{box['cone']}/another"))
    assert "cone for" in page and "Ask the customer" in page
    empty = signed_in.post(f"/parts/{box['cone']}/ask", {"came": "", "price": "5"})
    assert empty.status_code == 422 and 'href="#came"' in empty.get_data(as_text=True)
    assert signed_in.post(f"/parts/{box['cone']}/ask", {"came": "black, not grey"}).status_code == 303
    assert "black, not grey (cone)" in text(signed_in.get(f"/tickets/{box['cone ticket']}"))
    back = text(signed_in.get("/deliveries/back"))
    assert f"To {NAME}" in back and "keep it until they answer" in back
    refused = signed_in.post("/deliveries/sent-back", {"part": box["cone"]})
    assert refused.status_code == 422 and "may still take this part" in text(refused)
    another_came.note(house.ctx, house.actor(), box["dial"])
    assert signed_in.post("/deliveries/sent-back", {"part": box["dial"]}).status_code == 303
    assert "One part went back." in text(signed_in.get("/deliveries/back"))


def test_one_order_and_one_new_day_for_several_parts(house: Any, box: dict[str, str], signed_in: Browser) -> None:
    new = [parts.need(house.ctx, house.actor(), house.check_in().ticket_ids[0], name="knob") for _ in range(2)]
    assert signed_in.post("/deliveries/ordered", {"part": new}).status_code == 422
    typed = {"part": new, "supplier": NAME, "order_ref": "2026/18"}
    assert signed_in.post("/deliveries/ordered", typed).status_code == 303
    assert "The order is noted." in text(signed_in.get("/deliveries"))
    parts.change_due_of(house.ctx, house.actor(), new, due=datetime(2026, 11, 26, 9, 30, tzinfo=UTC))
    assert "Late:" in text(signed_in.get("/deliveries"))
    assert signed_in.post("/deliveries/due", {"part": new, "due": ""}).status_code == 422
    assert signed_in.post("/deliveries/due", {"part": new, "due": "2026-12-01"}).status_code == 303
    due = {one.due_at for b in view(house.ctx, house.actor()).boxes for one in b.parts if one.part_id in new}
    assert due == {datetime(2026, 12, 1, 10, tzinfo=UTC)}

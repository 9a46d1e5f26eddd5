"""The bench order on the day sheet: the suggestion in words, its two buttons, one device next, undo, and back."""

from __future__ import annotations

import re
from typing import Any

import pytest

from notify.flows import bench_order
from tests.flows.test_bench_order import afternoon, remade, shop
from tests.parts.house import House
from tests.web.conftest import Browser, make_app, sign_in
from tests.web.staff_pages import Form, Reader

pytestmark = pytest.mark.long
__all__ = ["shop"]  # the fixture


def desk(house: House) -> Browser:
    return sign_in(make_app(house), house, role="counter")


def sheet(client: Browser) -> Reader:
    return Reader(client.get("/").get_data(as_text=True))


def press(client: Browser, action: str, page: Reader | None = None) -> Reader:
    """Presses the button with that address on the page (the day sheet) and follows to the page it leads to."""
    form: Form = next(one for one in (page or sheet(client)).forms if re.search(action, one.action))
    answer = client.open("POST", form.action, data=dict(form.fields))
    assert answer.status_code == 303
    return Reader(client.get(answer.headers["Location"]).get_data(as_text=True))


def bench(page: Reader) -> list[str]:
    """The devices of the bench in the order of their first mention after its title."""
    told = page.text.partition("The bench, in order")[2].partition("Waiting for the customer")[0]
    found = {name: told.find(f" {name} ") for name in ("radio", "camera", "reader", "handheld")}
    return sorted(found, key=lambda name: found[name])


def test_a_better_order_is_told_with_its_gain_and_reason_and_taken_or_left_in_one_tap(shop: Any) -> None:
    afternoon(shop)
    client = desk(shop)
    assert "A better order" not in sheet(client).text
    assert remade(shop)
    page = sheet(client)
    said = re.search(r"(\d\.\d) promises more would be kept on average \((\d\.\d) instead of (\d\.\d)\):", page.text)
    assert "A better order: " in page.text
    assert said is not None and float(said[1]) == pytest.approx(float(said[2]) - float(said[3]), abs=0.11)
    assert "it will hardly be in time in any case" in page.text or "it will probably be late for it" in page.text
    taken = press(client, "/take$")
    assert "The bench follows the new order." in taken.text and "A better order" not in taken.text
    assert "It follows a suggestion that was taken at" in taken.text
    back = press(client, "^/bench/undo$", taken)
    assert "The order of the bench is as it was before." in back.text and "It follows" not in back.text
    assert remade(shop, after=601)
    left = press(client, "/refuse$")
    assert "The order stays as it is" in left.text and "A better order" not in left.text


def test_one_device_is_taken_next_and_the_usual_order_comes_back(shop: Any) -> None:
    tickets = afternoon(shop)
    client = desk(shop)
    page = sheet(client)
    offered = {form.action for form in page.forms if form.action.endswith("/next")}
    assert offered == {f"/tickets/{tickets[name]}/next" for name in ("camera", "reader", "handheld")}
    chosen = press(client, f"{tickets['handheld']}/next$")
    assert "is next for the bench." in chosen.text and "It was changed by hand at" in chosen.text
    assert bench(chosen)[0] == "handheld"
    usual = press(client, "^/bench/usual$")
    assert "The bench follows the usual order again." in usual.text and bench(usual)[0] == "radio"


def test_a_tap_on_a_suggestion_that_is_gone_is_answered_kindly_and_changes_nothing(shop: Any) -> None:
    afternoon(shop)
    made = remade(shop)
    assert made is not None
    client = desk(shop)
    form = next(one for one in sheet(client).forms if one.action.endswith("/take"))
    bench_order.take_next(shop.ctx, shop.actor(), second_in_line(shop))
    answer = client.open("POST", form.action, data=dict(form.fields))
    landed = Reader(client.get(answer.headers["Location"]).get_data(as_text=True))
    assert answer.status_code == 303 and "This suggestion does not stand any more" in landed.text


def second_in_line(house: House) -> str:
    with house.read() as unit:
        return bench_order.look(house.ctx, unit).order[1]

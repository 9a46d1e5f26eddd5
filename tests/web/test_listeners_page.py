"""The page of listeners: added with a key shown once, paused, tried, dropped; what needs somebody is on the sheet."""

from __future__ import annotations

import re
from typing import Any

import pytest

from notify.dispatch.tell_listeners import Teller
from notify.flows import listeners as flow
from notify.store import listeners as rows
from tests.parts.house import House
from tests.web.conftest import Browser, make_app, sign_in

pytestmark = pytest.mark.long
PATH = "/settings/listeners"


def add(browser: Browser, name: str = "Till", address: str = "https://till.test/told", kinds: str = "") -> Any:
    return browser.post(PATH, {"name": name, "address": address, "kinds": kinds})


def test_a_listener_is_added_its_key_shown_once_and_its_address_never(house: House, signed_in: Browser) -> None:
    assert add(signed_in, kinds="bench_began, part_arrived").status_code == 303
    page = signed_in.get(PATH).get_data(as_text=True)
    (secret,) = re.findall(r"whsec_[A-Za-z0-9+/=]{44}", page)
    assert "bench_began, part_arrived only" in page and "till.test" not in page
    assert secret not in signed_in.get(PATH).get_data(as_text=True)
    for name, address, kinds, field in (
        ("", "https://x.test/", "", "name"), ("A", "http://x.test/", "", "address"),
        ("A", "https://x.test/", "nonsense", "kinds"), ("Till", "https://x.test/", "", "name"),
    ):  # fmt: skip
        answer = add(signed_in, name, address, kinds)
        assert answer.status_code == 422 and f'href="#listener-{field}"' in answer.get_data(as_text=True)


def test_each_button_does_what_it_says(house: House, signed_in: Browser) -> None:
    add(signed_in, address="https://127.0.0.1/told")  # no name server is asked
    (one,) = flow.list_all(house.ctx, house.actor())
    house.check_in()
    signed_in.post(PATH, {"pause": one.id})
    page = signed_in.get(PATH).get_data(as_text=True)
    assert "Paused. Two events are still to be told." in page and "Go on" in page
    signed_in.post(PATH, {"resume": one.id})
    signed_in.post(PATH, {"key": one.id})
    assert len(re.findall(r"whsec_", signed_in.get(PATH).get_data(as_text=True))) == 1
    signed_in.post(PATH, {"ping": one.id})
    assert "did not take the call: its name leads into a network" in signed_in.get(PATH).get_data(as_text=True)
    signed_in.post(PATH, {"drop": one.id})
    assert "Nobody is told of events." in signed_in.get(PATH).get_data(as_text=True)
    assert signed_in.post(PATH, {"drop": one.id}).status_code == 404


def test_the_day_sheet_tells_of_one_that_was_given_up_and_of_what_was_refused(house: House, signed_in: Browser) -> None:
    add(signed_in, name="Wall clock")
    (one,) = flow.list_all(house.ctx, house.actor())
    house.check_in()
    before = signed_in.get("/")
    assert "Wall clock" not in before.get_data(as_text=True)
    with house.ctx.db.write(house.shop_id) as unit:
        (event,) = rows.events_after(unit, one.behind and rows.newest(unit) - 1, limit=1)
        rows.add_refused(unit, one.id, event, status=422, at=house.clock())
        rows.set_state(unit, one.id, rows.PAUSED, trouble="http-410")
    answer = signed_in.get("/", headers={"If-None-Match": before.headers.get("ETag", "")})
    sheet = answer.get_data(as_text=True)
    assert answer.status_code == 200  # it changed
    assert "it wants no calls any more" in sheet and "It refused one event." in sheet
    counter = sign_in(make_app(house), house, role="counter")
    assert "Wall clock" in counter.get("/").get_data(as_text=True)
    assert counter.get(PATH).status_code == 403
    assert isinstance(house.services.teller, Teller)

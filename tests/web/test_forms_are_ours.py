"""No form of another site is taken: token and origin on every unsafe route, the sign-in too (D2)."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask

from notify.web.routes import WITHOUT_FORM_TOKEN
from tests.web.conftest import BASE, TOKEN, Browser, sign_in
from tests.web.database_digest import changed_tables, digest
from tests.web.every_route import fill_house, unsafe

FOREIGN = (
    {"Origin": "https://evil.example.net"},
    {"Origin": "https://bell.example.org.evil.example.net"},
    {"Origin": "http://bell.example.org:8080"},
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site", "Origin": "https://other.example.org"},
)
STALE = "open too long"


def _token_for(browser: Browser, path: str, values: dict[str, str]) -> str:
    claim = f"/c/{values['token']}"
    return browser.token(claim if path.startswith(claim) else "/who")


@pytest.mark.long
def test_no_unsafe_route_takes_a_form_without_token_or_from_elsewhere(
    app: Flask, house: Any, signed_in: Browser
) -> None:
    values = fill_house(house)
    before, accepted, tries = digest(house), [], 0
    asked = [one for one in unsafe(app, values) if one.rule not in WITHOUT_FORM_TOKEN]
    other = sign_in(app, house, role="counter", name="Cleo Marsh")
    before = digest(house)
    for one in asked:
        right = _token_for(signed_in, one.path, values)
        wrong = ["", "x", right[:-1], right[::-1], other.token("/who")]
        posts: list[tuple[dict[str, str], dict[str, str]]] = [({"csrf_token": token}, {}) for token in wrong]
        posts += [({"csrf_token": right}, headers) for headers in FOREIGN] + [({}, {})]
        for data, headers in posts:
            tries += 1
            answer = signed_in.open(one.method, one.path, data=data, headers=headers)
            if answer.status_code != 400 or STALE not in answer.get_data(as_text=True):
                accepted.append(f"{one.method} {one.path} {headers}: {answer.status_code}")
    changed = changed_tables(before, digest(house))
    print(f"FIGURE forms_are_ours unsafe_routes={len(asked)} tries={tries} accepted_without_token={len(accepted)}")
    assert not accepted
    assert not changed - {"sessions", "throttles"}


@pytest.mark.parametrize("headers", [{}, {"Origin": "null"}, {"Origin": BASE}, {"Sec-Fetch-Site": "same-origin"}])
def test_a_form_of_our_own_page_is_taken(headers: dict[str, str], signed_in: Browser) -> None:
    answer = signed_in.post("/sign-out", headers=headers)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")


def test_nobody_is_signed_in_by_a_form_they_did_not_see(client: Browser) -> None:
    attacker = Browser(client.app)
    data = {"csrf_token": attacker.token("/sign-in"), "name": "Ada", "password": "long enough"}
    answer = client.open("POST", "/sign-in", data=data)
    assert answer.status_code == 400
    assert STALE in answer.get_data(as_text=True)


def test_the_token_of_one_claim_link_does_not_open_another(client: Browser, house: Any) -> None:
    values, other = fill_house(house), house.check_in()
    with house.read() as unit:
        from notify.store import tickets

        strange = tickets.get_ticket(unit, other.ticket_ids[0]).token
    token = client.token(f"/c/{values['token']}")
    assert token
    answer = client.open("POST", f"/c/{strange}/language", data={"csrf_token": token, "language": "de"})
    assert answer.status_code == 400


def test_a_page_holds_one_token_that_is_not_the_session(signed_in: Browser) -> None:
    page = signed_in.get("/check-in").get_data(as_text=True)
    assert len(set(TOKEN.findall(page))) == 1
    assert signed_in.secret not in page

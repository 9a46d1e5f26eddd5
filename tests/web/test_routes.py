"""The list of routes holds: nothing unlisted, nothing open by mistake, every role kept to its permissions (D1)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask

from notify.core.roles import STAFF_ROLES, may
from notify.web.routes import ROUTES, UNSAFE
from tests.web.conftest import BASE, Browser, app_of, sign_in
from tests.web.every_route import Asked, every, fill_house


def _unlisted(app: Flask) -> list[str]:
    """Routes of the application that stand in the list with other methods, or not at all."""
    wrong = []
    for rule in app.url_map.iter_rules():
        access = ROUTES.get(rule.rule)
        extra = (rule.methods or set()) - {"HEAD", "OPTIONS"} - (access.methods if access else frozenset())
        if access is None or extra:
            wrong.append(f"{rule.rule} {sorted(extra)}")
    return wrong


def _is_kept_out(browser: Browser, one: Asked) -> bool:
    """Whether somebody unknown is turned away by the guard itself: to the sign-in page, or for the missing token."""
    answer = browser.open(one.method, one.path)
    if one.who == "demo":
        return answer.status_code == 404
    if one.method in UNSAFE:
        return answer.status_code == 400
    return answer.status_code == 303 and answer.headers["Location"].startswith("/sign-in")


def test_every_route_is_in_the_list_and_none_is_open_by_mistake(app: Flask, house: Any, client: Browser) -> None:
    asked = list(every(app, fill_house(house)))
    unlisted = _unlisted(app)
    open_by_mistake = [
        f"{one.method} {one.path}"
        for one in asked
        if one.who in ("staff", "demo") and one.method != "OPTIONS" and not _is_kept_out(client, one)
    ]
    served = {one.rule for one in asked}
    print(f"FIGURE routes_listed routes={len(served)} unlisted={len(unlisted)} open_by_mistake={len(open_by_mistake)}")
    assert not unlisted
    assert not open_by_mistake
    assert served == set(ROUTES), f"listed but not served: {sorted(set(ROUTES) - served)}"


def test_a_route_that_nobody_listed_answers_500_and_is_found(house: Any) -> None:
    app = app_of(house.services)
    app.add_url_rule("/forgotten", view_func=lambda: "open to all")
    answer = app.test_client().get("/forgotten", base_url=BASE)
    assert answer.status_code == 500
    assert b"open to all" not in answer.data
    assert _unlisted(app) == ["/forgotten ['GET']"]


def _allowed(app: Flask, values: dict[str, str], role: str) -> Iterator[tuple[Asked, bool]]:
    for one in every(app, values):
        access = ROUTES[one.rule]
        if access.who == "staff" and one.method in UNSAFE | {"GET"} and not may(role, access.permission):
            yield one, False


@pytest.mark.parametrize("role", STAFF_ROLES)
def test_no_role_gets_through_a_route_it_has_no_permission_for(role: str, app: Flask, house: Any) -> None:
    values = fill_house(house)
    browser = sign_in(app, house, role=role, name=f"Ben {role}")
    token = browser.token("/who")
    through = []
    for one, _ in _allowed(app, values, role):
        answer = browser.open(one.method, one.path, data={"csrf_token": token})
        if answer.status_code != 403:
            through.append(f"{one.method} {one.path}: {answer.status_code}")
    assert not through


def test_the_demo_page_is_served_in_the_demo_only(house: Any) -> None:
    for demo, status in ((False, 404), (True, 303)):
        answer = app_of(house.services, demo=demo).test_client().get("/demo/mail", base_url=BASE)
        assert answer.status_code == status

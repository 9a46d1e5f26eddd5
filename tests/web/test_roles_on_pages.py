"""No button and no link stands on a page where the role that reads it may not press it, and no answer to a role names a
contact in clear without a row in the access log."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from flask import Flask
from werkzeug.exceptions import HTTPException

from notify.core.roles import STAFF_ROLES, may
from notify.web.routes import ROUTES
from tests.web.clear_house import fill
from tests.web.conftest import Browser, sign_in
from tests.web.contact_walk import Walk
from tests.web.every_route import every
from tests.web.staff_pages import Form, Reader

pytestmark = [pytest.mark.long, pytest.mark.parametrize("backend", ["sqlite"], indirect=True)]
LINK = re.compile(r'<a\b[^>]*\bhref="(/[^"]*)"')
SHOWING = {"day_sheet", "calls", "pickups", "hits", "replies", "sources", "ticket"}
Forms = dict[Any, Form]
ENDS = {"/sign-out", "/who"}  # they end the session that asks
MOST = 12  # buttons of one name on one route: of sixty times to choose from, a dozen are pressed


def rule_of(app: Flask, path: str, method: str) -> str:
    """The route that an address leads to; "" where it leads nowhere."""
    try:
        rule, _ = app.url_map.bind("bell.example.org").match(re.split("[?#]", path)[0], method=method, return_rule=True)
    except HTTPException:
        return ""
    return str(rule.rule)


def shown(app: Flask, reader: Browser, values: dict[str, str], role: str, walk: Walk) -> tuple[Forms, dict[str, str]]:
    """What the role is shown on all pages it may open: one form of each route and button, one link of each route."""
    forms: Forms = {}
    links: dict[str, str] = {}
    for one in every(app, values, methods=frozenset({"GET"})):
        access = ROUTES[one.rule]
        if access.who != "staff" or not may(role, access.permission):
            continue
        page = reader.get(one.path)
        walk.saw(one.rule, reader.staff_id, page.data)
        assert page.status_code in (200, 302, 303, 404, 409), (role, one.path, page.status_code)
        if "html" not in page.content_type:
            continue
        for form in Reader(page.text).forms:
            for name, value, elsewhere in form.buttons:
                to = elsewhere or form.action
                pressed = Form(to, [*form.fields, *([(name, value)] if name else [])])
                rule = rule_of(app, to, "POST")
                if sum(known[:2] == (rule, name) for known in forms) < MOST:
                    forms.setdefault((rule, name, value), pressed)
        for href in map(unescape, LINK.findall(page.text)):
            links.setdefault(rule_of(app, href, "GET"), href)
    return forms, links


@pytest.mark.parametrize("role", STAFF_ROLES)
def test_what_a_role_is_shown_it_may_press(app: Flask, house: Any, role: str) -> None:
    full = fill(house)
    reader, walk = sign_in(app, house, role=role), Walk(house, full.planted)
    token = reader.token("/who")
    forms, links = shown(app, reader, full.values, role, walk)
    leads_nowhere = [form.action for (rule, *_), form in forms.items() if not rule]
    leads_nowhere += [href for rule, href in links.items() if not rule]
    refused = [f"a {href}" for rule, href in links.items() if reader.get(href).status_code == 403]
    for (rule, name, value), form in forms.items():
        if not rule or rule in ENDS:
            continue
        answer = reader.open("POST", form.action, data={**dict(form.fields), "csrf_token": token})
        walk.saw(f"POST {rule}", reader.staff_id, answer.data)
        if answer.status_code == 403 or not may(role, ROUTES[rule].permission or "look"):
            refused.append(f"{rule} {name}={value}")
    print(f"FIGURE roles_on_pages role={role} buttons={len(forms)} links={len(links)} refused={len(refused)} "
          f"showing={walk.showing.total()} unlogged={len(walk.unlogged)}")  # fmt: skip
    assert walk.unlogged == [] and walk.showing.keys() >= SHOWING
    assert not leads_nowhere and not refused, (leads_nowhere, refused)
    assert len(forms) > 20 and len(links) > 15

"""One shop's identifiers find nothing in another shop, on any route (D16)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from typing import Any

import pytest
from flask import Flask

from notify.core.actors import Actor
from notify.flows import api_tokens, listeners, set_up
from notify.store import shops
from tests.parts.house import SHOP
from tests.store.test_shops_apart import rows_of
from tests.web.conftest import Browser, sign_in
from tests.web.contact_walk import Walk
from tests.web.database_digest import changed_tables, digest
from tests.web.every_route import every, fill_house
from tests.web.test_roles_on_pages import ENDS, shown

SECRETS_OF_THEIR_OWN = (
    "token",
    "code",
    "link",
    "feed",
    "filename",
    "problem",
)  # a claim secret is its own authority, whatever the shop
# What the forms of the routes ask for, so that a refusal is about the identifier in the address.
FORM = {
    "result": "told", "ticket": "all", "checked": "seen a passport", "to": "in_line", "reason": "wrong_shelf",
    "kind": "price", "wording": "May we?", "price": "10", "answer": "accept", "said_by": "Ines", "part": "Dial glass",
    "supplier": "Lantern Spares", "promise": "2026-11-27T11:30", "why": "other", "note": "Seen", "shelf": "B2",
    "paid": "yes", "delegate": "Mia Oland", "scan": "b" * 16, "slot": "2026-11-27T10:00/0", "event": "x",
    "choice": "seen",
}  # fmt: skip


def second_shop(house: Any) -> Any:
    """Another shop in the same installation, open at the same hours."""
    shop_id = set_up.make_shop(house.ctx, settings={**SHOP, "name": "Pier Bench"})
    owner = Actor(shop_id, "staff", "owner-of-the-pier", "owner")
    for weekday in range(6):
        set_up.add_hours(house.ctx, owner, weekday=weekday, opens=time(9), closes=time(18), capacity=2,
                         valid_from=date(2026, 1, 1))  # fmt: skip
    return replace(house, shop_id=shop_id, actors={"owner": owner})


@pytest.fixture
def other_values(house: Any) -> dict[str, str]:
    """Identifiers of one of everything in the other shop."""
    return fill_house(second_shop(house))


def test_every_route_answers_404_to_another_shops_identifiers(
    app: Flask, house: Any, signed_in: Browser, other_values: dict[str, str]
) -> None:
    fill_house(house)
    token, before, leaks, seen = signed_in.token("/who"), digest(house), [], 0
    for one in every(app, other_values):
        rule = next(rule for rule in app.url_map.iter_rules() if rule.rule == one.rule)
        if one.method == "OPTIONS" or one.who == "token" or not set(rule.arguments) - {*SECRETS_OF_THEIR_OWN, "paper"}:
            continue
        seen += 1
        answer = signed_in.open(one.method, one.path, data={**FORM, "csrf_token": token})
        if answer.status_code != 404 or b"Otter" in answer.data or b"Kestrel" in answer.data:
            leaks.append(f"{one.method} {one.path}: {answer.status_code}")
    changed = changed_tables(before, digest(house)) - {"sessions", "throttles"}
    print(f"FIGURE shops_apart routes={seen} leaks={len(leaks)} tables_changed={len(changed)}")
    assert seen >= 5
    assert not leaks
    assert not changed


@pytest.mark.long
def test_forms_that_name_another_shops_things_change_nothing_there(
    app: Flask, house: Any, signed_in: Browser, other_values: dict[str, str]
) -> None:
    own = fill_house(house)
    before = digest(house)
    with_us = f"/visits/{own['visit_id']}/handover"
    assert signed_in.post(with_us, {"ticket": other_values["ticket_id"], "checked": "seen passport"}).status_code == 404
    scanned = signed_in.post("/scan", {"scan": f"https://bell.example.org/c/{other_values['token']}"})
    assert scanned.headers["Location"] == "/"
    assert signed_in.post("/deliveries/arrived", {"part": other_values["part_id"]}).status_code in (303, 404, 422)
    assert signed_in.post("/who", {"staff": "owner-of-the-pier", "pin": "1234"}).status_code == 422
    assert not changed_tables(before, digest(house)) - {"sessions", "throttles"}


@pytest.mark.long
@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
def test_no_form_of_another_shops_pages_does_or_tells_anything_there(
    app: Flask, house: Any, signed_in: Browser, other_values: dict[str, str]
) -> None:
    """Each form and button as their owner sees it, sent by ours: what it names is theirs, whoever sends it is not."""
    fill_house(house)
    there = replace(house, shop_id=shops.shop_ids(house.ctx.db)[-1], actors={})
    their_owner = sign_in(app, there, role="owner", name="Mia")
    made = api_tokens.make_token(house.ctx, there.actor(), name="Pier tides", scopes=["events:read"])
    listeners.add(house.ctx, there.actor(), name="Pier bell", address="https://bell.example.net/told", inner_hosts=())
    forms, _ = shown(app, their_owner, other_values, "owner", Walk(house, {}))
    with house.read() as unit:
        before, _ = rows_of(unit.connection, there.shop_id)
    token, told = signed_in.token("/who"), []
    for (rule, name, _), form in forms.items():
        if rule in ENDS:
            continue
        answer = signed_in.open("POST", form.action, data={**dict(form.fields), "csrf_token": token})
        told += [f"{rule} {name}" for word in ("Pier tides", "Pier bell") if word in answer.text]
    with house.read() as unit:
        after, _ = rows_of(unit.connection, there.shop_id)
    print(f"FIGURE shops_apart_forms forms={len(forms)} leaks={len(told)} changed={int(before != after)}")
    assert made.id and len(forms) > 60 and not told and before == after

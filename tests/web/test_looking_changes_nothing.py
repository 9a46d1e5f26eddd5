"""GET, HEAD and OPTIONS change nothing but sign-in sessions and throttle counters, on every route (D3)."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask

from notify.flows import moves
from tests.web.conftest import Browser
from tests.web.database_digest import changed_tables, digest
from tests.web.every_route import every, fill_house

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
# A log of who looked at a number in clear is no change of state that anybody asked for or answers to (RFC 9110, 9.2.1).
MAY_CHANGE = {"sessions", "throttles", "contact_reads"}


@pytest.mark.long
def test_no_look_at_any_page_changes_the_database(app: Flask, house: Any, signed_in: Browser, client: Browser) -> None:
    asked = list(every(app, fill_house(house), methods=SAFE))
    before, broken, looked = digest(house), [], 0
    for browser in (client, signed_in):
        for one in asked:
            house.clock.advance(10)
            answer = browser.open(one.method, one.path)
            looked += browser is signed_in and answer.status_code == 200
            if answer.status_code >= 500:
                broken.append(f"{one.method} {one.path}: {answer.status_code}")
    changed = changed_tables(before, digest(house))
    print(f"FIGURE looking_changes_nothing routes={len(asked)} tables_changed={len(changed - MAY_CHANGE)}")
    assert not broken
    assert looked > len(asked) / 2, "most pages were really shown"
    assert "sessions" in changed, "the digest sees changes"
    assert not changed - MAY_CHANGE


def test_the_digest_sees_a_move(house: Any) -> None:
    values = fill_house(house)
    before = digest(house)
    moves.move(house.ctx, house.actor(), values["ticket_id"], "in_line", reason="wrong_shelf")
    assert {"tickets", "events"} <= changed_tables(before, digest(house))

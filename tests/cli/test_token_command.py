"""The commands for scripts: a token is made, shown once, listed without its secret, revoked; the API is described."""

from __future__ import annotations

import re

import pytest

from notify.web.api.describe import describe
from notify.web.api.operations import OPERATIONS
from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def test_a_token_is_made_listed_and_revoked(shop: Shop) -> None:
    said = shop.ok("token", "add", "books at night", "--scope", "tickets:read", "--until", "2030-03-31")
    assert "shown this once" in said.out and re.search(r"^shelfbell_[a-z2-9]{32}$", said.out, re.MULTILINE)
    made = shop.ok("token", "add", "web form", "--scope", "tickets:write", "--scope", "tickets:read", "--json").data
    assert (made["scopes"], made["expires_at"]) == (["tickets:read", "tickets:write"], None)
    listed = shop.ok("token", "list").out
    assert "books at night" in listed and "web form" in listed and "never" in listed
    assert made["secret"] not in listed and made["secret"] not in shop.ok("token", "list", "--json").out
    shop.ok("token", "revoke", made["id"][-8:])
    assert [one["name"] for one in shop.ok("token", "list", "--json").data] == ["books at night"]
    assert shop("token", "revoke", made["id"]).code == 4
    assert shop("token", "add", " ", "--scope", "tickets:read").code == 2
    assert shop("token", "add", "x", "--scope", "tickets:burn").code == 2
    assert shop("token", "add", "x", "--scope", "tickets:read", "--until", "2020-01-01").code == 2


def test_the_api_is_described_and_listed_by_command(shop: Shop) -> None:
    assert shop.ok("api", "describe").data == describe()
    assert len(shop.ok("api", "list").out.splitlines()) == len(OPERATIONS)
    assert {one["scope"] for one in shop.ok("api", "list", "--json").data} >= {"no token", "any token", "events:read"}

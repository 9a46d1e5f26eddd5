"""The command for the shop's own calendar: an address is made, shown once, listed without its secret, revoked."""

from __future__ import annotations

import re

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def test_an_address_is_made_listed_and_revoked(shop: Shop) -> None:
    said = shop.ok("feed", "make", "phone at the counter")
    assert "shown this once" in said.out and re.search(r"/feeds/[bcdfghjklnprstvx]{32}\.ics", said.out)
    made = shop.ok("feed", "make", "tablet", "--json").data
    assert made["path"].startswith("/feeds/")
    listed = shop.ok("feed", "list").out
    assert "phone at the counter" in listed and "tablet" in listed and made["path"] not in listed
    assert made["path"][7:-4] not in shop.ok("feed", "list", "--json").out
    shop.ok("feed", "revoke", made["id"][-8:])
    assert [one["name"] for one in shop.ok("feed", "list", "--json").data] == ["phone at the counter"]
    assert shop("feed", "revoke", made["id"]).code == 4
    assert shop("feed", "revoke", "").code == 4 and shop("feed", "make", " ").code == 2

"""The commands about listeners: added with a key shown once, tried, paused, resumed, given another key, dropped."""

from __future__ import annotations

import pytest
from standardwebhooks.webhooks import Webhook

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def test_a_listener_is_added_listed_and_dropped_by_command(shop: Shop) -> None:
    made = shop.ok("listener", "add", "Till", "https://127.0.0.1/told", "--kind", "bench_began", "--json").data
    Webhook(made["secret"])  # PyPI standardwebhooks takes it
    shop.check_in()
    listed = shop.ok("listener", "list")
    assert "Till" in listed.out and "bench_began" in listed.out and made["secret"] not in listed.out
    assert "/told" not in shop.ok("listener", "list", "--json").out
    assert "part_arrived" in shop.ok("listener", "kinds").out
    refused = shop("listener", "ping", "Till")  # this machine is not named in the settings
    assert refused.code == 5 and "http-private" in refused.err
    shop.ok("listener", "pause", "Till")
    assert [one["state"] for one in shop.ok("listener", "list", "--json").data] == ["paused"]
    assert shop.ok("listener", "resume", "Till", "--json").data["behind"] == 2
    assert shop.ok("listener", "key", "Till", "--json").data["secret"] != made["secret"]
    assert shop.ok("listener", "retry", "Till", "--json").data["offered"] == 0
    shop.ok("listener", "drop", "Till")
    assert shop("listener", "drop", "Till").code == 4
    assert shop("listener", "add", "Till", "http://till.test/").code == 2

"""What people allowed and the list of stops by command; each says the same as JSON."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.long


def test_what_was_allowed_is_shown_given_and_taken_back_by_command(shop: Any) -> None:
    number = shop.check_in()
    out = shop.ok("consent", "show", number).out
    assert "We may send you news and questions about the repair." in out and "entered by command" in out
    shop.ok("consent", "give", number, "email", "--for", "afterwards")
    shop.ok("consent", "withdraw", number, "email")
    told = shop.ok("consent", "show", number, "--json").data
    said = [one for who in told["people"] for one in who["said"]]
    assert said[-1]["allowed"] is False and {one["how"] for one in said} == {"command"}
    again = shop("consent", "give", number, "email")
    assert again.code == 5 and "stopped all messages on" in again.err and "Ask" in again.err
    shop.ok("consent", "give", number, "email", "--wanted")
    listed = shop.ok("suppression", "list", "--json").data
    assert listed["standing"] == 0 and [one["ended_how"] for one in listed["rows"]] == ["command"]


def test_the_list_of_stops_shows_days_only_and_is_added_to_and_ended_by_command(shop: Any) -> None:
    assert shop.ok("suppression", "add", "sms", "07700 900456", "--json").data == {"new": True}
    assert "noted before" in shop.ok("suppression", "add", "sms", "+44 7700 900456").out
    out = shop.ok("suppression", "list").out
    assert "Standing: 1." in out and "900456" not in out
    assert shop("suppression", "end", "sms", "07700 900456").code == 5
    shop.ok("suppression", "end", "sms", "07700 900456", "--wanted")
    assert shop("suppression", "end", "sms", "07700 900456", "--wanted").code == 4
    shop.ok("person", "child", shop.check_in())

"""What people ask about their own data, by command, from a letter to its answer."""

from __future__ import annotations

import json

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def test_a_letter_is_noted_proved_answered_and_what_is_held_is_written_for_its_owner(shop: Shop) -> None:
    number = shop.check_in()
    made = shop.ok("request", "add", number, "access", "--how", "post", "--json").data
    short = made["id"]
    assert not shop.ok("request", "add", number, "access", "--how", "phone", "--json").data["new"]
    file = shop.installation.config.parent / "held.json"
    assert shop("request", "export", short, str(file)).code == 3 and not file.exists()
    shop.ok("request", "prove", short, "--made-sure", "showed a passport")
    shop.ok("request", "export", short, str(file))
    held = json.loads(file.read_text("utf-8"))
    assert held["format"] == "shelfbell-held-about" and held["tickets"][0]["number"] == number
    assert file.stat().st_mode & 0o077 == 0
    until = shop.ok("request", "extend", short, "--note", "three boxes of paper", "--json").data["until"]
    (line,) = shop.ok("request", "list", "--json").data["open"]
    assert (line["last_day"], line["extended"], line["proved"]) == (until, True, True)
    shop.ok("request", "done", short, "--note", "handed over")
    assert "showed a passport" in shop.ok("request", "show", short).out
    assert shop("request", "done", short).code == 5


def test_refusing_needs_a_reason_and_an_erasure_is_left_to_the_night(shop: Shop) -> None:
    number = shop.check_in()
    made = shop.ok("request", "add", number, "erasure", "--made-sure", "knew the device", "--json").data["id"]
    assert shop("request", "done", made).code == 3
    assert shop("request", "refuse", made, "--note", "because").code == 2
    (line,) = shop.ok("request", "list", "--json").data["open"]
    assert line["against"] == ["open"] and "open" in shop.ok("request", "list").out
    shop.ok("request", "refuse", made, "--reason", "exception", "--note", "a claim is running")
    assert shop("request", "withdraw", made).code == 5
    again = shop.ok("request", "add", number, "erasure", "--json").data["id"]
    shop.ok("request", "withdraw", again)
    aside = shop.ok("request", "add", number, "restriction", "--made-sure", "knew the device", "--json").data["id"]
    shop.ok("request", "done", aside)
    assert "set aside" in shop.ok("request", "list").out
    assert shop.ok("request", "lift", aside, "--told", "on the phone").out.strip() == "It has ended."
    assert shop("request", "lift", aside).code == 5
    assert shop("request", "add", number, "correction").code == 2

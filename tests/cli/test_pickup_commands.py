"""Pickups by command: the same outcome as on the pages, a key that counts once, and what changed hours have hit."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long  # together some seconds of one core


def ready(shop: Shop) -> tuple[str, list[str]]:
    """A device on the shelf: (number, the slots it may book, by JSON)."""
    number = shop.check_in()
    for phase in ("in_line", "on_bench", "on_shelf"):
        shop.ok("ticket", "move", number, phase)
    return number, [one["slot"] for one in shop.ok("pickup", "slots", number, "--json").data]


def test_booking_moving_and_giving_up_say_the_same_as_the_pages_and_count_once(shop: Shop) -> None:
    number, slots = ready(shop)
    assert shop("pickup", "move", number, slots[0], "--json").code == 4  # nothing to move yet
    for _ in range(2):
        said = shop.ok("pickup", "book", number, slots[0], "--once", "k1")
        assert said.out.startswith("The pickup is booked: ") and said.out.endswith("The customer is told.\n")
    refused = shop("pickup", "book", number, slots[1], "--once", "k1", "--json")
    assert refused.code == 5 and "carried out already, with another time" in refused.err
    moved = shop.ok("pickup", "move", number, slots[1], "--once", "k2", "--json").data
    assert (moved["state"], moved["revision"]) == ("booked", 1)
    for _ in range(2):
        gone = shop.ok("pickup", "cancel", number, "--once", "k3")
        assert gone.out == "The time is given up, and the customer is told.\n"


def test_a_day_closed_by_command_lists_who_is_hit_and_each_is_decided_by_command(shop: Shop) -> None:
    number, slots = ready(shop)
    last = next(slot for slot in slots if slot[:10] > slots[0][:10])
    day = last[:10]
    shop.ok("pickup", "book", number, last)
    refused = shop("shop", "closed", day, "--unless-hit")
    assert refused.code == 5 and "1 booking would be hit. Nothing is changed yet." in refused.err
    assert number in refused.err and shop.ok("pickup", "hit").out == "Every pickup fits the hours.\n"
    closed = shop.ok("shop", "closed", day, "--json").data
    assert [one["why"] for one in closed["hit"]] == ["closed"]
    (hit,) = shop.ok("pickup", "hit", "--json").data
    assert hit["person"] == "Ida Moss" and datetime.fromisoformat(hit["start_at"]) and hit["nearest"]
    assert number in shop.ok("pickup", "hit").out
    shop.ok("pickup", "stay", number)
    assert shop.ok("pickup", "hit", "--json").data == [] and shop("pickup", "stay", number).code == 4
    shop.ok("pickup", "move", number, hit["nearest"], "--why", "closed")


def test_public_holidays_by_command(shop: Shop) -> None:
    assert shop.ok("shop", "holidays").out == "No public holiday closes the shop.\n"
    shop.ok("shop", "set", "holidays_of=it")
    listed = shop.ok("shop", "holidays", "--json").data
    christmas = next(one["day"] for one in listed if one["name"] == "Christmas Day")
    assert christmas.endswith("-12-25")
    shop.ok("shop", "holidays", "--open", christmas)
    assert any(christmas in line and "open as usual" in line for line in shop.ok("shop", "show").out.splitlines())
    assert shop("shop", "holidays", "--open", christmas).code == 5
    assert shop("shop", "set", "holidays_of=Quillhaven").code == 2

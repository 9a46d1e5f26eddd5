"""The bench order as commands: the same as on the day sheet, in words and in JSON."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.long


def test_the_order_is_shown_changed_by_hand_undone_and_made_usual_again(shop: Any) -> None:
    old, new = shop.check_in(), shop.check_in()
    assert shop.ok("bench", "order", "--json").data == {"order": [old, new], "standing_since": None, "better": None}
    assert shop.ok("bench", "first", new, "--json").data["first"] == new
    assert shop.ok("bench", "order", "--json").data["order"] == [new, old]
    assert "This order was taken" in shop.ok("bench", "order").out
    shop.ok("bench", "usual")
    assert shop.ok("bench", "order", "--json").data["order"] == [old, new]
    shop.ok("bench", "undo")
    assert shop.ok("bench", "order", "--json").data["order"] == [new, old]


def test_without_a_better_order_there_is_nothing_to_take_and_the_command_says_what_to_do(shop: Any) -> None:
    assert shop.ok("bench", "order").out == "Nothing is in work.\n"
    assert shop.ok("bench", "suggest").out == "No better order is known.\n"
    said = shop("bench", "take")
    assert said.code == 4 and "No better order is known" in said.err and "shelfbell bench suggest" in said.err
    assert shop("bench", "refuse", "--json").problem["problems"][0]["what"] == "No better order is known"
    assert shop("bench", "first", "K7M-2X9T").code in (2, 4)

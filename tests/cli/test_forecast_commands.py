"""Forecasts by command: made, shown for all and for one, with what a program reads."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def test_forecasts_are_made_and_shown_by_command_in_order_and_with_their_chances(shop: Shop) -> None:
    asked, first, second = shop.check_in(), shop.check_in(), shop.check_in()
    shop.ok("question", "ask", asked, "give_back", "Shall it go back as it is?")
    assert "Nothing was foreseen yet" in shop.ok("forecast", "show").out
    assert shop.ok("forecast", "run").out.startswith("3 forecasts were made.")
    seen = shop.ok("forecast", "show", "--json").data
    assert seen["changed"] is False and [one["number"] for one in seen["tickets"]] == [first, second, asked]
    for one in seen["tickets"][:2]:
        grid = [datetime.fromisoformat(at) for at in one["forecast"]["grid"]]
        assert len(grid) == 19 and grid == sorted(grid)
    said = shop.ok("forecast", "show", second)
    assert second in said.out and first not in said.out and "HANGS ON" in said.out


def test_a_device_that_is_ready_or_a_number_that_is_none_gets_a_clear_answer(shop: Shop) -> None:
    number = shop.check_in()
    shop.ok("ticket", "move", number, "on_shelf", "--outcome", "unrepaired", "--reason", "changed_mind")
    gone = shop("forecast", "show", number)
    assert gone.code == 4 and "ready or gone" in gone.err
    assert shop("forecast", "show", "rubbish").code == 2
    assert "Nothing is in work." in shop.ok("forecast", "show").out

"""Order lines, boxes, wrong variants and returns by commands alone."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def test_an_order_of_two_tickets_comes_by_its_slip_and_what_is_wrong_or_faulty_goes_back(shop: Shop) -> None:
    shop.ok("shop", "supplier", "Harbour Parts", "--days", "1")
    one, two = shop.check_in(), shop.check_in()
    shop.ok("part", "need", one, "potentiometer", "--article", "P-10K")
    shop.ok("part", "need", two, "Battery pack", "--quantity", "2")
    listed = shop.ok("part", "list", "--json").data["unordered"]
    first, second = (p["label"] for p in listed if p["name"] == "Battery pack")
    shop.ok("part", "order", one, "Harbour Parts", "--also", first, "--also", second, "--ref", "QH-121")
    shop.ok("part", "line", first, "--slip", "HP 4471", "--cost", "4.50")
    shop.ok("part", "line", second, "--slip", "HP 4471")
    assert "still waits" in shop.ok("part", "arrive", "hp4471").out  # both of that slip: the first, then the last
    arrived = {p["label"] for p in shop.ok("part", "list", "--json").data["arrived"]}
    assert arrived == {first, second}
    shop.ok("part", "not-here", second)
    assert "free for the bench" in shop.ok("part", "arrive", second).out
    assert shop("part", "arrive", second).code != 0
    shop.ok("part", "dead", first)
    back = shop.ok("part", "back").out
    assert first in back and "do not post: damaged battery" in back
    shop.ok("part", "another", one, "--came", "20k instead of 10k", "--price", "-2")
    assert "10k" in shop.ok("ticket", "show", one).out
    label = next(p["label"] for g in shop.ok("part", "back", "--json").data for p in g["parts"] if p["asked"])
    assert shop("part", "use", label).code != 0  # the customer is asked
    shop.ok("question", "withdraw", one)
    shop.ok("part", "use", label)
    assert "1 went back" in shop.ok("part", "back", first).out
    assert shop("part", "back", first).code != 0
    shop.ok("part", "order", two, "Harbour Parts")
    shop.ok("part", "order-again", two)

"""The counter's day and its capacity as commands: the same as the pages, in words and in JSON."""

from __future__ import annotations

from typing import Any


def test_the_capacity_is_told_in_a_sentence_and_in_json_and_changes_nothing(shop: Any) -> None:
    said = shop.ok("pickup", "capacity").out
    assert "With one person at the counter, give one time each quarter of an hour: three of 100 would wait" in said
    assert "<- give this" in said and "Assumed: there are no handovers that were measured yet" in said
    data = shop.ok("pickup", "capacity", "--people", "2", "--json").data
    assert data["best"] == 3 and data["people"] == {"value": 2.0, "of": 0, "basis": "tried"}
    assert [row["per_slot"] for row in data["rows"]] == list(range(1, len(data["rows"]) + 1))
    assert shop.ok("pickup", "capacity", "--json").data["people"]["basis"] == "set"


def test_a_figure_out_of_its_bounds_is_refused_with_what_to_do(shop: Any) -> None:
    said = shop("pickup", "capacity", "--minutes", "0", "--json")
    assert said.code == 2 and "Minutes for one handover must be from 0.5 to 60" in said.err
    assert shop("pickup", "capacity", "--people", "two").code != 0


def test_the_day_is_listed_with_free_places_and_who_is_expected(shop: Any) -> None:
    number = shop.check_in()
    for step in ("inspecting", "in_line", "on_bench", "on_shelf"):
        shop.ok("ticket", "move", number, step)
    slot = shop.ok("pickup", "slots", number, "--json").data[0]["slot"]
    shop.ok("pickup", "book", number, slot)
    day = slot[:10]
    said = shop.ok("pickup", "list", "--day", day).out
    data = shop.ok("pickup", "list", "--day", day, "--json").data
    assert "Free places still to come: " in said and "Ida Moss" in said
    (one,) = data["pickups"]
    assert one["state"] == "booked" and one["late"] is None and one["phone"] == ""
    booked = [slot for slot in data["slots"] if slot["start_at"] == one["start_at"]]
    assert booked[0]["free"] == booked[0]["capacity"] - 1
    shop.ok("pickup", "cancel", number)
    assert "given up" in shop.ok("pickup", "list", "--day", day).out

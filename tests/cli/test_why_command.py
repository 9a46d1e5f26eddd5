"""The story of a ticket's messages by command, and the hours in which a shop tells."""

from __future__ import annotations

from typing import Any


def test_why_says_in_sentences_what_was_planned_and_gives_the_same_as_json(shop: Any) -> None:
    number = shop.check_in()
    out = shop.ok("why", number).out
    assert "Checked in, to " in out and "It was planned" in out and "until then it can be taken back" in out
    told = shop.ok("why", number, "--json").data
    assert told["number"] == number and [one["line"]["notice"] for one in told["told"]] == ["checked_in"]
    assert [step["code"] for step in told["told"][0]["steps"]] == ["planned", "leaves_soon"]
    assert shop("why", "QQQ-QQQQ").code in (2, 4)


def test_why_names_the_one_for_whom_the_bell_rang_and_a_part_names_its_ticket_as_the_paper_does(shop: Any) -> None:
    shop.ok("staff", "bell", "Owner", "--email", "owner@example.org", "--by", "email")
    number = shop.check_in()
    for phase in ("in_line", "on_bench"):
        shop.ok("ticket", "move", number, phase)
    shop.ok("part", "need", number, "speaker")
    assert f"Booked in. {number} " in shop.ok("part", "arrive", number).out  # K7M-2X9T, never K7M2X9T
    told = shop.ok("why", number).out
    assert "Part arrived (to the shop), to Owner, by e-mail" in told and "to the shop, by" not in told


def test_telling_hours_are_set_by_command_or_refused_with_what_is_wrong(shop: Any) -> None:
    shop.ok("shop", "set", "telling_hours=mon-fri 09:00-19:00; sat 10:00-16:00")
    assert "mon-fri 09:00-19:00; sat 10:00-16:00" in shop.ok("shop", "show").out
    wrong = shop("shop", "set", "telling_hours=monday 09:00-19:00", "--json")
    assert wrong.code == 2 and "'monday' is no weekday" in str(wrong.problem)
    assert "mon-fri 09:00-19:00" in shop.ok("shop", "show").out

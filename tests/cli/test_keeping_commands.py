"""Commands about keeping, forgetting, looks and requests: what cannot be done is refused in a line with the option.

That a refusal says what, which and what to do, with an exit code of its own kind, is a rule of this project; common
practice, no source.
"""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.long
NOBODY = "K7M-2X9T"  # a number that fits its check character, and is nobody's
# What is typed after `shelfbell`, {n} being a number of the shop -> exit code, and what the line says.
REFUSED: tuple[tuple[str, int, str], ...] = (
    ("forget --all", 2, "--all goes with --dry-run"),
    ("forget --who tell", 2, "--who goes with --person"),
    ("forget --person {n} --the-clock-is-right", 2, "--the-clock-is-right goes without"),
    ("forget --person {n} --who payer", 4, "nobody as payer"),
    ("forget --person rubbish", 2, "(--person)"),
    ("forget --person {nobody}", 4, "No ticket"),
    ("access-log --number {nobody}", 4, "No ticket"),
    ("access-log --number rubbish", 2, "(--number)"),
    ("access-log --page 99999999999999999999", 2, "--page"),
    ("keep set rubbish P60D", 2, "contact_card"),
    ("keep set contact_card rubbish", 2, "such as P90D"),
    ("keep set contact_card P60D --clock rubbish", 2, "(--clock)"),
    ("keep set contact_card P60D --longer-while rubbish", 2, "(--longer-while)"),
    ("keep set contact_card P60D --source x", 2, "(--source)"),
    ("keep set contact_card P60D --from 2020-01-01", 2, "(--from)"),
    ("keep set contact_card P60D --checked-on 2999-01-01", 2, "(--checked-on)"),
    ("hold set {n} rubbish", 2, "dispute"),
    ("hold set {n} dispute", 2, "(--note)"),
    ("hold set {n} dispute --note hum", 2, "(--note)"),
    ("hold set {n} unpaid --review-on 2020-01-01", 2, "(--review-on)"),
    ("hold set {nobody} unpaid", 4, "No ticket"),
    ("hold review {n}", 4, "shelfbell hold list"),
    ("hold end rubbish", 4, "shelfbell hold list"),
    ("request add {n} rubbish", 2, "erasure"),
    ("request add {n} correction", 2, "(--note)"),
    ("request add {n} access --received 2999-01-01", 2, "(--received)"),
    ("request refuse rubbish", 2, "--reason"),
    ("request refuse rubbish --reason unfounded", 4, "shelfbell request list"),
    ("request export rubbish file.json", 4, "shelfbell request list"),
    ("consent give {n} fax", 2, "email"),
    ("consent show {nobody}", 4, "No ticket"),
    ("consent withdraw {n} email --who payer", 4, "nobody as payer"),
    ("suppression add email rubbish", 2, "exactly one @"),
    ("suppression end sms 07700900999 --wanted", 4, "No stop"),
    ("key rotate rubbish", 2, "master"),
    ("key retire master rubbish", 4, "shelfbell key show"),
)  # fmt: skip


def test_each_refusal_is_one_line_that_names_what_to_use_and_changes_nothing(shop: Any) -> None:
    number = shop.check_in()
    for words, code, says in REFUSED:
        line = words.format(n=number, nobody=NOBODY).split()
        said = shop(*line)
        assert (said.code, len(said.err.splitlines())) == (code, 1) and says in said.err, (words, said)
        told = shop(*line, "--json")
        assert told.code == code and told.problem["exit_code"] == code, (words, told)
        (problem,) = told.problem["problems"]
        assert not says.startswith("(--") or says == f"({problem['option']})", problem
    assert shop.ok("hold", "list", "--json").data == [] and shop.ok("request", "list", "--json").data["open"] == []
    assert {one["now"]["period"] for one in shop.ok("keep", "list", "--json").data if one["to_come"]} == set()


def test_a_hold_from_its_beginning_to_its_end(shop: Any) -> None:
    number = shop.check_in()
    made = shop.ok("hold", "set", number, "dispute", "--note", "the hum is back", "--json").data
    assert (made["reason"], made["numbers"]) == ("dispute", [number])
    assert shop("hold", "set", number, "dispute", "--note", "the hum is back").code == 5
    assert made["id"][:8] in shop.ok("hold", "list").out
    assert shop.ok("hold", "review", made["id"][:8], "--json").data["review_on"] == made["review_on"]
    assert shop.ok("hold", "end", number, "--json").data == {"ended": True}
    assert shop.ok("hold", "list").out == "Nothing is held.\n"


def test_a_shorter_period_is_told_before_it_is_kept_and_counts_from_tomorrow(shop: Any) -> None:
    dry = shop.ok("keep", "set", "contact_card", "P60D", "--dry-run", "--json").data
    assert (dry["rule"]["period"], dry["is_kept"], dry["due_more"]) == ("P60D", False, 0)
    kept = shop.ok("keep", "set", "contact_card", "P60D", "--source", "our own book", "--json").data
    assert kept["is_kept"] and kept["rule"]["valid_from"] == dry["rule"]["valid_from"]
    (card,) = [one for one in shop.ok("keep", "list", "--json").data if one["now"]["data_class"] == "contact_card"]
    assert (card["now"]["period"], card["to_come"]["period"]) == ("P90D", "P60D")


def test_looks_are_told_of_one_number_and_page_by_page(shop: Any) -> None:
    number, other = shop.check_in(), shop.check_in()
    asked = shop.ok("request", "add", number, "access", "--made-sure", "showed a passport", "--json").data["id"]
    shop.ok("request", "export", asked[:8], str(shop.installation.config.parent / "held.json"))
    (look,) = shop.ok("access-log", "--number", number, "--json").data["lines"]
    assert (look["place"], look["by"], look["times"]) == ("request", "Owner", 1)
    assert "request" in shop.ok("access-log").out and "Nobody looked" in shop.ok("access-log", "--number", other).out
    assert "Nobody looked" in shop.ok("access-log", "--page", "2").out
    assert "Forgotten: nobody." in shop.ok("forget", "--the-clock-is-right").out

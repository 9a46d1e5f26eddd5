"""What is held, and the record of processing, as commands."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.long


def test_what_is_held_is_told_in_words_and_in_json_and_names_nobody(shop: Any) -> None:
    shop.check_in()
    said = shop.ok("held").out
    assert "One person is held with name or contact, and nobody goes within a week." in said
    assert "KIND OF DATA" in said and "Nobody has asked to hear nothing more." in said
    data = shop.ok("held", "--json").data
    assert {one["aged"]["data_class"]: sum(one["aged"]["by_age"]) for one in data["kinds"]}["contact_card"] == 1
    assert len(data["ahead"]["weeks"]) == 13 and data["ahead"]["open"] == 1
    assert "@" not in said + str(data)


def test_the_record_becomes_a_page_to_print_and_is_not_written_over_unasked(shop: Any) -> None:
    shop.ok("shop", "set", "officer=officer@example.org")
    assert shop.ok("record", "--language", "de", "--out", "record.html").out.startswith("Written to record.html.")
    page = (shop.installation.config.parent / "record.html").read_text("utf-8")
    assert '<html lang="de">' in page and page.count("<section data-art=") == 7 and "officer@example.org" in page
    assert shop("record", "--out", "record.html").code == 5
    shop.ok("record", "--out", "record.html", "--overwrite")
    assert shop("record", "--language", "fr", "--out", "x.html").code == 2


def test_records_of_erasing_are_listed_and_shown_with_what_is_out_of_reach(shop: Any) -> None:
    number = shop.check_in()
    assert shop.ok("erasure", "list").out.strip() == "Nobody was erased yet."
    shop.ok("forget", "--person", number if isinstance(number, str) else number["numbers"][0], "--yes")
    (one,) = shop.ok("erasure", "list", "--json").data
    said = shop.ok("erasure", "show", one["id"][:8]).out
    assert "Out of reach:" in said and "calendar" in said and "@" not in said and one["counts"]["people"] == 1
    assert shop("erasure", "show", "nothing").code == 4

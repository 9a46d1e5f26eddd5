"""`shelfbell preview`: a message as its reader sees it, without a customer and without sending."""

from __future__ import annotations

from pathlib import Path

import smsutil

from tests.cli.conftest import Shop


def test_a_message_is_shown_in_another_language_and_counted_as_an_independent_counter_counts_it(shop: Shop) -> None:
    made = shop.ok("preview", "ready", "--language", "de", "--several", "--json").data
    assert made["language"] == "de" and "Kamera" in made["text"] and "Hafenradio" in made["text"]
    assert made["count"]["parts"] == len(smsutil.split(made["sms"]).parts)


def test_only_one_way_is_shown_when_asked_for_and_a_way_that_is_never_taken_is_refused(shop: Shop) -> None:
    said = shop.ok("preview", "ready", "--channel", "call").out
    assert "on the phone" in said and "E-mail" not in said
    refused = shop("preview", "call_needed", "--channel", "call")
    assert refused.code == 2 and "never goes by call" in refused.err


def test_the_html_part_goes_into_a_new_file_and_never_over_an_old_one(shop: Shop, tmp_path: Path) -> None:
    file = tmp_path / "ready.html"
    shop.ok("preview", "ready", "--html", str(file))
    assert "<html" in file.read_text("utf-8")
    before = file.read_bytes()
    assert shop("preview", "question", "--html", str(file)).code == 2
    assert file.read_bytes() == before


def test_an_unknown_message_or_language_is_refused_with_those_there_are(shop: Shop) -> None:
    assert "ready" in shop("preview", "redy").err
    refused = shop("preview", "ready", "--language", "xx")
    assert refused.code == 2 and "en" in refused.err

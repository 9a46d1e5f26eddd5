"""Several shops in one installation by command: opened whole or not at all, named by --shop, and told apart."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long  # each has a shop of its own


def names(shop: Shop) -> list[str]:
    return [one["name"] for one in shop.ok("shop", "list", "--json").data]


def test_a_second_shop_has_people_settings_and_tickets_of_its_own(shop: Shop) -> None:
    first = names(shop)
    made = shop.ok("shop", "add", "Pier Bench", "--zone", "Asia/Tokyo", "--language", "de", "--currency", "JPY",
                   "--owner", "Mia", "--json").data  # fmt: skip
    assert names(shop) == [*first, "Pier Bench"] and len(made["password"]) > 8
    number = shop.ok("check-in", "--device", "Halyard radio", "--name", "Ida Moss", "--shop", first[0], "--json").data
    for there in ("Pier Bench", "pier bench", made["shop"], made["shop"][:8]):
        assert [one["name"] for one in shop.ok("staff", "list", "--shop", there, "--json").data] == ["Mia"]
        assert shop.ok("ticket", "list", "--shop", there, "--json").data == []
    assert shop("ticket", "show", number["numbers"][0], "--shop", "Pier Bench").code == 4
    seen = shop.ok("shop", "show", "--shop", "Pier Bench", "--json").data["shop"]
    assert (seen["zone"], seen["language"], seen["currency"], seen["region"]) == ("Asia/Tokyo", "de", "JPY", "GB")


def test_without_a_name_a_command_says_which_shops_there_are(shop: Shop) -> None:
    (first,) = names(shop)
    shop.ok("shop", "add", "Pier Bench")
    said = shop("staff", "list")
    assert said.code == 2 and "Pier Bench" in said.err and first in said.err
    assert "Nobody" in shop("staff", "list", "--shop", "Nobody").err


@pytest.mark.parametrize(
    ("words", "code"),
    [(("Pier Bench", "--zone", "Moon/Base"), 2), (("Pier Bench", "--language", "xx"), 2), (("", ), 2),
     (("Pier Bench", "--owner", " "), 2)],
)  # fmt: skip
def test_what_is_refused_leaves_no_shop_behind(shop: Shop, words: tuple[str, ...], code: int) -> None:
    before = names(shop)
    assert shop("shop", "add", *words).code == code
    assert names(shop) == before


def test_two_shops_never_get_one_name(shop: Shop) -> None:
    (first,) = names(shop)
    said = shop("shop", "add", first.upper())
    assert said.code == 5 and "already" in said.err
    shop.ok("shop", "add", "Pier Bench")
    shop.ok("shop", "set", f"name={first}", "--shop", "Pier Bench")  # nobody hinders that, so check says it
    assert any("2 shops" in one["what"] for one in shop.ok("check", "--json").data["findings"])


def test_a_source_of_a_shop_that_is_not_there_is_found_by_check(shop: Shop) -> None:
    config = shop.installation.config
    config.write_text(
        config.read_text("utf-8") + '\n[watch.list]\nkind = "folder"\nfolder = "in"\nshop = "Pear Bench"\n'
        'columns = { reference = "id", phase = "state" }\nphase_words = { done = "in_line" }\n', "utf-8",
    )  # fmt: skip
    found = [one for one in shop.ok("check", "--json").data["findings"] if one["key"] == "watch.list.shop"]
    assert len(found) == 1 and "no shop" in found[0]["what"]
    (first,) = names(shop)
    config.write_text(config.read_text("utf-8").replace("Pear Bench", first.upper()), "utf-8")
    assert not [one for one in shop.ok("check", "--json").data["findings"] if one["key"] == "watch.list.shop"]


def test_opening_another_shop_says_which_sources_stand_still_since_they_name_none(shop: Shop) -> None:
    config = shop.installation.config
    config.write_text(
        config.read_text("utf-8") + '\n[watch.list]\nkind = "folder"\nfolder = "in"\n'
        'columns = { reference = "id", phase = "state" }\nphase_words = { done = "in_line" }\n', "utf-8",
    )  # fmt: skip
    assert "until then nothing is taken of list" in shop.ok("shop", "add", "Pier Bench").out
    (first, _) = names(shop)
    config.write_text(config.read_text("utf-8").replace('folder = "in"', f'folder = "in"\nshop = "{first}"'), "utf-8")
    assert "nothing is taken" not in shop.ok("shop", "add", "Quay Bench").out

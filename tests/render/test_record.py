"""The record of processing says every point of GDPR art. 30(1), and asks for what only the shop can say.

Source of the points: Regulation (EU) 2016/679, art. 30(1)(a) to (g), as quoted on tuto.provacy.com;
read on 28 November 2026.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from notify.core.languages import LANGUAGES
from notify.core.processing import MEASURES, RECIPIENTS, Processing, Recipient
from notify.core.retention import DATA_CLASSES, default_rule
from notify.core.shop import build_shop
from notify.paths import templates_folder
from notify.render.processing_says import privacy_facts, record_facts
from notify.render.words import Words

FOLDER = templates_folder() / "words"
WORDS, PAGE = Words(FOLDER), Words(FOLDER, prefix="page.")
# What each point asks for: (a) controller, joint controller, representative, officer; (b) purposes; (c) categories of
# people and of data; (d) categories of recipients; (e) transfers to third countries; (f) time limits; (g) security.
ARTICLE_30 = [f"30-1-{point}" for point in "abcdefg"]
SHOP = {
    "name": "Tramstop Bench", "address": "3 Rope Walk, Quillhaven", "phone": "+441632960123",
    "email": "bench@example.org", "all_well_days": 9,
}  # fmt: skip
SAID = {
    "joint_controller": "Pier Bench, 9 Mole Road", "representative": "Kim Tiller, 2 Quay",
    "officer": "officer@example.org",
    "recipients": "Ledger & Lamp, our books\nHarbour cleaning", "outside": "Gull Mail keeps copies in Helvetia",
    "security": "Two keys to the door\nScreens lock after a minute",
}  # fmt: skip


def known(shop: dict[str, Any] | None = None, **more: Any) -> Processing:
    rules = {code: default_rule(code) for code, one in DATA_CLASSES.items() if one.is_ruled}
    given: dict[str, Any] = {
        "recipients": tuple(Recipient(kind, "" if kind == "modem" else f"{kind}.example.org") for kind in RECIPIENTS),
        "sources": ("pier",), "uses": ("afterwards",), "measures": MEASURES, "stranger_days": 31, "backup_days": 36,
        "key_backup_days": 6, "has_claim_pages": True, **more,
    }  # fmt: skip
    return Processing(build_shop("s", SHOP | (shop or {})), date(2026, 11, 28), rules, **given)


def record(language: str, of: Processing) -> str:
    return WORDS.record(language, record_facts(of, PAGE.get(language), WORDS.get(language)))


def notice(language: str, of: Processing) -> str:
    return WORDS.privacy(language, privacy_facts(of, PAGE.get(language), WORDS.get(language)))


def asked(page: str) -> set[str]:
    return set(re.findall(r'data-asks="([a-z_]+)"', page))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_record_has_every_point_of_article_30_once_and_something_in_each(language: str) -> None:
    page = record(language, known(SAID))
    parts = dict(re.findall(r'<section data-art="([^"]+)">(.*?)</section>', page, re.DOTALL))
    assert list(parts) == ARTICLE_30
    assert all(len(re.sub(r"<h2>.*?</h2>|<[^>]+>|\s", "", text)) > 20 for text in parts.values())
    for said in ("Tramstop Bench", "3 Rope Walk", "+44 1632 960123", "Pier Bench", "Kim Tiller", "officer@example.org"):
        assert said in parts["30-1-a"]
    for kind in RECIPIENTS:
        assert kind == "modem" or f"{kind}.example.org" in parts["30-1-d"]
    assert "Ledger &amp; Lamp, our books." in parts["30-1-d"] and "Helvetia" in parts["30-1-e"]
    assert parts["30-1-f"].count("<tr>") == 1 + len(DATA_CLASSES) + 2  # the head, and both kinds of backups
    assert "36 " in parts["30-1-f"] and "31 " in parts["30-1-f"] and "2026" in parts["30-1-f"]
    assert parts["30-1-g"].count("<li>") == len(MEASURES) + 2 and "Two keys to the door." in parts["30-1-g"]
    assert re.search("legal advice|Rechtsberatung|consulenza legale", page)


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_only_the_shop_can_say_is_asked_for_until_it_is_said(language: str) -> None:
    bare = known({"address": ""}, recipients=(), sources=(), uses=(), measures=())
    wanted = {"address", "joint_controller", "representative", "officer", "recipients", "outside", "security"}
    assert asked(record(language, bare)) == wanted
    for name, said in SAID.items():
        if name != "recipients":  # whoever the program cannot know may still be missing
            assert asked(record(language, known({name: said}))) == wanted - {"address", name}
    assert "address" not in asked(record(language, known({"address": "", "controller": "Quill Ltd, 1 Quay"})))
    assert not re.search(r"[{}]|None| [.,:]|: ?\.|, ?\.", re.sub(r"<[^>]+>", "", record(language, bare)))


@pytest.mark.parametrize("language", LANGUAGES)
def test_whatever_a_setting_or_rule_says_changes_the_record_and_what_customers_may_know_changes_their_page(
    language: str,
) -> None:
    whole = known()
    rules = {code: replace(rule, period="P77D") for code, rule in whole.rules.items()}
    changes = {
        **{name: known({name: said}) for name, said in SAID.items()},
        "controller": known({"controller": "Quill Ltd"}),
        **{f"rule {code}": known_with(whole, code, rules[code]) for code in rules},
        **{f"no {one.kind}": replace(whole, recipients=tuple(r for r in whole.recipients if r is not one))
           for one in whole.recipients},
        **{f"no measure {one}": replace(whole, measures=tuple(m for m in MEASURES if m != one)) for one in MEASURES},
        "strangers": replace(whole, stranger_days=5), "backups": replace(whole, backup_days=0),
        "key backups": replace(whole, key_backup_days=0), "sources": replace(whole, sources=()),
        "uses": replace(whole, uses=()),
    }  # fmt: skip
    same = [name for name, changed in changes.items() if record(language, changed) == record(language, whole)]
    assert same == []
    # Art. 13 does not ask for measures, nor for records in which nobody is.
    unsaid = {f"no measure {one}" for one in MEASURES} | {"security", "rule erasure_record"}
    told = {name for name, changed in changes.items() if notice(language, changed) != notice(language, whole)}
    assert told == changes.keys() - unsaid
    print(f"FIGURE record_of_processing language={language} changes={len(changes)} unsaid={len(same)}")


def known_with(whole: Processing, code: str, rule: Any) -> Processing:
    return replace(whole, rules={**whole.rules, code: rule})


def test_what_a_shop_types_is_never_run_on_either_page() -> None:
    bad = known(dict.fromkeys(SAID, "<script>alert(1)</script>"))
    for page in (record("en", bad), notice("en", bad)):
        assert "<script" not in page and "&lt;script&gt;" in page


@pytest.mark.parametrize("language", LANGUAGES)
def test_where_a_period_comes_from_is_said_in_its_language_with_the_same_articles_and_a_shops_own_as_written(
    language: str,
) -> None:
    lives = known().lives()
    said = {
        one["what"]: one["source"] for one in record_facts(known(), PAGE.get(language), WORDS.get(language))["lives"]
    }
    for life, source in zip(lives, said.values(), strict=True):
        assert (source == life.source) is (language == "en" or not life.source)
        assert re.findall(r"\d+", source) == re.findall(r"\d+", life.source), life.data_class  # the articles, in order
    own = replace(default_rule("contact_card"), source="our accountant, by letter")
    page = record(language, known_with(known(), "contact_card", own))
    assert "accountant, by letter" in page

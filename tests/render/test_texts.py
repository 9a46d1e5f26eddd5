"""Message texts: complete in every language, plain, short enough, and each saying what it must."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from typing import Any

import pytest
import smsutil

from notify.core.notices import CUSTOMER_NOTICES, SHOP_NOTICES
from notify.render.texts import CUSTOMER_PARTS, Texts
from tests.render.contexts import CUSTOMER, LANGUAGES, LINK, SHOP, bare, rich
from tests.render.every_text import FOLDER, PARTS, Page, every

MARK = "Zq7"  # stands where something must not be repeated


@pytest.fixture(scope="module")
def texts() -> Texts:
    return Texts(FOLDER, LANGUAGES)


def test_the_example_contexts_cover_exactly_the_notices_of_core() -> None:
    assert set(CUSTOMER) == set(CUSTOMER_NOTICES)
    assert set(SHOP) == set(SHOP_NOTICES)


def test_the_texts_of_every_language_have_no_problem(texts: Texts) -> None:
    assert texts.problems(PARTS) == []


@pytest.mark.parametrize("make", [rich, bare])
def test_every_part_renders_without_leftovers(texts: Texts, make: Callable[[str, str], dict[str, Any]]) -> None:
    for language, notice, part in every():
        out = texts.render(language=language, notice=notice, part=part, context=make(notice, language))
        where = f"{language} {notice} {part} {make.__name__}"
        assert out.strip(), where
        if part == "html":
            out = re.sub(r"<style>.*</style>", "", out, flags=re.DOTALL)
        assert not re.search(r"[{}]|None|Undefined|\[\]|,,|\.\.(?!\.)| [.,:;]", out), f"{where}: {out}"
        assert "\n\n\n" not in out or part == "html", where


def test_a_subject_is_one_line_with_number_or_day_and_never_the_fault_or_the_link(texts: Texts) -> None:
    for language, notice, part in every():
        if part != "subject":
            continue
        context = {**rich(notice, language), "fault": f"fault{MARK}", "claim_link": f"https://x.example/{MARK}"}
        out = texts.render(language=language, notice=notice, part=part, context=context)
        assert "\n" not in out and len(out) <= 78, out  # RFC 5322 2.1.1 advises 78 characters a line
        assert MARK not in out and "Pat" not in out
        assert "K7M-2X9T" in out or "26" in out, out


def test_the_waiting_days_are_counted_in_words_also_when_none_or_given_as_text(texts: Texts) -> None:
    for days, told in ((0, "shelf."), ("0", "shelf."), (1, "ready for 1 day now."), ("9", "ready for 9 days now.")):
        context = {**rich("collection_reminder", "en"), "days_waiting": days}
        out = texts.render(language="en", notice="collection_reminder", part="text", context=context)
        assert out.splitlines()[0].endswith(told)


def test_an_answer_that_never_came_or_was_taken_back_is_not_called_an_answer(texts: Texts) -> None:
    for code, label, told in (
        ("take_it", "Yes", "The customer answered"),
        ("taken_back", "The yes is taken back", "The yes was taken back"),
        ("expired", "No answer in time", "No answer came in time"),
        ("", "", "No answer came in time"),
    ):
        context = {**rich("answer_shop", "en"), "answer": {"code": code, "label": label, "by": ""}}
        assert told in texts.render(language="en", notice="answer_shop", part="subject", context=context)


def test_shop_notices_never_carry_the_customers_secret_link(texts: Texts) -> None:
    for language, notice, part in every():
        if notice in SHOP:
            out = texts.render(language=language, notice=notice, part=part, context=rich(notice, language))
            assert LINK not in out and "STOP" not in out, f"{language} {notice} {part}"


def test_a_text_message_is_one_part_without_link_and_at_most_two_with_it(texts: Texts) -> None:
    assert len(LINK) == 60
    most = {"with": 0, "without": 0}
    for language in LANGUAGES:
        for notice in CUSTOMER:
            for key, link, allowed in (("with", LINK, 2), ("without", "", 1)):
                context = {**rich(notice, language), "claim_link": link}
                out = texts.render(language=language, notice=notice, part="sms", context=context)
                split = smsutil.split(out)  # an independent counter
                assert smsutil.is_valid_gsm(out), f"{language} {notice}: {out}"
                assert len(split.parts) <= allowed, f"{language} {notice} {key} link: {out}"
                most[key] = max(most[key], sum(p.length for p in split.parts))
    most_told = f"most_without={most['without']} most_with_link={most['with']}"
    print(f"FIGURE sms_texts languages={len(LANGUAGES)} notices={len(CUSTOMER)} {most_told}")


def test_ready_names_all_devices_says_where_and_until_when_open(texts: Texts) -> None:
    for language in LANGUAGES:
        context = rich("ready", language)
        for part in ("text", "html"):
            out = texts.render(language=language, notice="ready", part=part, context=context)
            for device in context["devices"]:
                assert device["number"] in out and device["device"] in out
            assert context["shop"]["address"] in out and context["shop"]["hours"] in out and LINK in out
        out = texts.render(language=language, notice="ready", part="text", context={**context, "claim_link": ""})
        assert context["shop"]["phone"] in out


def test_a_safety_flag_says_do_not_charge_or_post_and_nothing_ever_says_charge_it(texts: Texts) -> None:
    plain = {
        "en": "Please do not charge or post it",
        "de": "Bitte nicht aufladen",
        "it": "Per favore non ricarichi l'apparecchio e non lo spedisca",
    }
    for language in LANGUAGES:
        for notice in ("ready", "handed_back", "collection_reminder", "pickup_confirmed", "pickup_reminder"):
            context = {**rich(notice, language), "safety": ["x"]}
            for part in ("text", "html"):
                assert plain[language] in texts.render(language=language, notice=notice, part=part, context=context)
    for language, notice, part in every():
        out = texts.render(language=language, notice=notice, part=part, context=rich(notice, language))
        for found in re.finditer(r"(\w+ \w+ )(charge|auflad\w*|laden|ricaric\w*)\b", out):
            assert re.search(r"\b(not|non)\b|nicht", found[1]), f"{language} {notice} {part}: {found[0]}"


def test_an_unrepaired_device_is_announced_as_such_with_the_reason(texts: Texts) -> None:
    word = {"en": "unrepaired", "de": "unrepariert", "it": "non riparat"}
    for language in LANGUAGES:
        context = {**rich("ready", language), "outcome": "unrepaired", "reason": "no part is made any more"}
        for part in CUSTOMER_PARTS[1:]:
            out = texts.render(language=language, notice="ready", part=part, context=context)
            assert word[language] in out
            assert part == "sms" or "No part is made any more." in out


def test_a_question_carries_wording_price_every_answer_and_its_end(texts: Texts) -> None:
    back = {
        "en": "you can take it back until we have ordered the part",
        "de": "zurücknehmen, bis wir das Ersatzteil",
        "it": "può annullare il sì finché non abbiamo ordinato il ricambio",
    }
    for language in LANGUAGES:
        context = rich("question", language)
        asked = context["question"]
        for part in ("text", "html", "call"):
            out = html.unescape(texts.render(language=language, notice="question", part=part, context=context))
            wanted = [asked["wording"], asked["price"], asked["until"], back[language]]
            for words in wanted + [option["label"] for option in asked["options"]]:
                assert words in out, f"{language} {part} lacks {words}"


def test_without_a_public_address_no_message_prints_a_link(texts: Texts) -> None:
    for language, notice, part in every():
        context = rich(notice, language)
        context |= {"claim_link": "", "privacy_link": "", "stop_link": "", "shop": {**context["shop"], "url": ""}}
        out = texts.render(language=language, notice=notice, part=part, context=context)
        assert "http" not in out, f"{language} {notice} {part}"


def test_every_html_mail_has_language_title_one_heading_and_nothing_remote(texts: Texts) -> None:
    for language, notice, part in every():
        if part != "html":
            continue
        html = texts.render(language=language, notice=notice, part=part, context=rich(notice, language))
        tags = Page(html).tags
        names = [tag for tag, _ in tags]
        assert tags[0] == ("html", {"lang": language})
        assert names.count("title") == names.count("h1") == 1 and re.search(r"<title>[^<]+</title>", html)
        assert len([1 for _, attrs in tags if attrs.get("class") == "button"]) <= 1
        assert not set(names) & {"img", "script", "link", "iframe", "object", "form", "svg"}
        assert "url(" not in html and "@import" not in html
        assert all("src" not in attrs and "style" not in attrs for _, attrs in tags)

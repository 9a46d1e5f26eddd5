"""Parts of a text message as an independent library cuts them, and the choice of a text that fits (A9)."""

from __future__ import annotations

import random
import re
from itertools import product
from pathlib import Path

import pytest
import smsutil

from notify.core.errors import Misconfigured
from notify.core.languages import LANGUAGES
from notify.core.notices import CUSTOMER_NOTICES
from notify.render.sms import BASIC, EXTENSION, count, fit, links_are_whole, split, tidy
from notify.render.texts import Texts
from tests.render.contexts import LINK, bare, rich
from tests.render.every_text import FOLDER

SEED = 20261127
# What random texts are made of: cheap and dear characters, pairs, links, and what phones and gateways stumble over.
PIECES = [*sorted(BASIC), *sorted(EXTENSION), "Б", "é", "–", "📻", "👩‍🔧", "\u0301", "\ufeff", " ", "ready ", "x" * 40,
          "€" * 30, "Б" * 30, "📻" * 12, LINK, "\r\n"]  # fmt: skip


def random_texts(number: int) -> list[str]:
    chance = random.Random(SEED)
    return ["".join(chance.choices(PIECES, k=chance.randrange(1, 60))) for _ in range(number)]


def test_five_thousand_random_texts_are_cut_where_an_independent_library_cuts_them() -> None:
    texts, differing, torn = random_texts(5000), 0, 0
    for text in texts:
        ours, theirs = split(text), [part.content for part in smsutil.split(text).parts]
        differing += list(ours) != theirs
        torn += "".join(ours) != text or any(0xD800 <= ord(sign) <= 0xDFFF for part in ours for sign in part)
        counted = count(text)
        room = {"GSM-7": (160, 153), "UCS-2": (70, 67)}[counted.encoding][counted.parts > 1]
        torn += any(units > room for units in counted.part_units)
    parts = [len(split(text)) for text in texts]
    print(f"FIGURE A9_split texts={len(texts)} differing={differing} torn={torn} most_parts={max(parts)}")
    assert (differing, torn) == (0, 0)
    assert sum(one > 1 for one in parts) > 1000


def test_no_chosen_text_cuts_a_link_or_is_cut_itself() -> None:
    chance, chosen, cut, refused = random.Random(SEED), 0, 0, 0
    for text in random_texts(2000):
        words = "".join(chance.choices("abc Бd€", k=chance.randrange(0, 240)))
        candidates = tidy(f"{text} {LINK}"), tidy(f"{words} {LINK}")
        try:
            taken = fit(candidates[0], lambda short=candidates[1]: short, 3, name="en/ready/sms.txt")  # type: ignore[misc]
        except Misconfigured as error:
            assert "en/ready/sms.txt" in error.what
            refused += 1
            continue
        chosen += 1
        # Without the spaces that may bring a link to the next part it is one of the two, letter for letter.
        assert re.sub(r" +", " ", taken) in {re.sub(r" +", " ", one) for one in candidates}
        # The borders come from the other library.
        ends = [part.content for part in smsutil.split(taken).parts]
        cut += len(ends) > 3 or sum(part.count(LINK) for part in ends) != taken.count(LINK)
    print(f"FIGURE A9_fit texts=2000 chosen={chosen} refused={refused} cut_links={cut}")
    assert cut == 0
    assert chosen > 500 and refused > 10


def test_a_link_is_kept_whole_whichever_reference_numbers_the_parts() -> None:
    # 152 septets a part with a 16-bit reference, 153 with an 8-bit one (TS 23.040 9.2.3.24.1).
    tail = " " + "z" * 200
    assert links_are_whole("a" * 153 + LINK + tail)
    assert not links_are_whole("a" * (153 - len(LINK)) + LINK + tail)  # ends at 153: cut where a part holds 152
    assert links_are_whole("a" * (152 - len(LINK)) + LINK + tail)


def test_the_shorter_text_is_filled_only_when_it_is_needed() -> None:
    def never() -> str:
        raise AssertionError("it was not needed")

    assert fit("Ready. " + LINK, never, 3, name="x") == "Ready. " + LINK
    assert fit("a" * 120 + " " + LINK, lambda: "short " + LINK, 3, name="x") == "short " + LINK
    assert fit("a" * 500, lambda: "short", 3, name="x") == "short"
    with pytest.raises(Misconfigured, match=r"limits\.sms_parts"):
        fit("a" * 500, lambda: "", 3, name="x")


def test_a_name_in_another_alphabet_is_kept_letter_for_letter_and_its_link_whole() -> None:
    short = f"Мастерская «Маяк»: радио «Океан-214» готово. {LINK}"
    taken = fit(tidy("Б" * 300), lambda: short, 3, name="x")
    assert count(taken).encoding == "UCS-2"
    assert taken.replace(" ", "") == tidy(short).replace(" ", "")
    assert any(LINK in part.content for part in smsutil.split(taken).parts)


@pytest.fixture(scope="module")
def texts() -> Texts:
    return Texts(Path(FOLDER), LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_customer_notice_fits_with_the_longest_names_and_a_shop_in_another_alphabet(
    texts: Texts, language: str
) -> None:
    long = {"name": "Tramstop Bench and Harbour Radio Repairs of Quillhaven", "phone": "+44 7700 900321"}
    foreign = {"name": "Радиомастерская у маяка", "phone": "+44 7700 900321"}
    most: dict[str, int] = {}
    for notice, shop, make in product(CUSTOMER_NOTICES, (long, foreign), (rich, bare)):
        context = make(notice, language)
        context = {**context, "shop": {**context["shop"], **shop}, "device": "Harbour R2 portable short-wave radio set"}
        text = texts.text_message(language=language, notice=notice, context=context, most=3)
        # Safety words are in no text too much (battery flag): core of the hand-over rule.
        assert (
            not context.get("safety")
            or notice not in ("ready", "handed_back")
            or re.search(r"do not charge|nicht aufladen|non ricaricare", text, re.IGNORECASE)
        ), text
        assert text.count("http") <= 1 and links_are_whole(text)
        parts = len(smsutil.split(text).parts)
        most[shop["name"]] = max(most.get(shop["name"], 0), parts)
    print(f"FIGURE A9_notices language={language} most_parts_long_name={most[long['name']]} "
          f"most_parts_other_alphabet={most[foreign['name']]}")  # fmt: skip
    assert max(most.values()) <= 3


def test_no_text_message_names_the_person_the_fault_or_the_price(texts: Texts) -> None:
    seen = 0
    for language, notice in product(LANGUAGES, CUSTOMER_NOTICES):
        context = {**rich(notice, language), "fault": "FAULT", "price": "PRICE", "person": {"name": "PERSON"}}
        for part in ("sms", "sms_short"):
            if texts.has(language=language, notice=notice, part=part):
                text = texts.render(language=language, notice=notice, part=part, context=context)
                assert not re.search("FAULT|PRICE|PERSON", text), f"{language}/{notice}/{part}"
                seen += 1
    assert seen >= 2 * len(LANGUAGES) * 13

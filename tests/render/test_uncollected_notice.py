"""The draft of a notice on paper: read back out of the PDF and as pixels by an independent renderer (PDFium)."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime

import pypdfium2
import pytest

from notify.core.languages import LANGUAGES
from notify.core.uncollected_rules import EXAMPLES
from notify.render.uncollected_notice import Notice, notice_pdf
from tests.parts.paper_samples import TEMPLATES

pytestmark = pytest.mark.long

MADE_AT = datetime(2026, 11, 27, 9, tzinfo=UTC)
ENGLISH = Notice(
    language="en", shop_language="en", shop_name="Tramstop Bench", shop_lines=("4 Harbour Row", "Quillhaven"),
    shop_phone="+44 7700 900123", shop_email="counter@example.org", person="Ines Farrow", number="K7M-2X9T",
    device="Kestrel pocket radio", handed_in=date(2026, 9, 1), ready_on=date(2026, 9, 3), repaired=True,
    today=date(2026, 11, 27), owed="£24.00", is_owed=True, collect_by=date(2027, 2, 27), may_be_given_from=None,
    rule_name="Quay law", rule_form="In writing, by hand.", safety=(),
)  # fmt: skip
# What the first example's law asks a notice to name (Torts (Interference with Goods) Act 1977, Sch. 1): the bailee's
# name and address, the goods and where they are held, the sum due. With it the number and how the shop is reached.
FACTS = (
    "Tramstop Bench", "4 Harbour Row", "Quillhaven", "Ines Farrow", "K7M-2X9T", "£24.00", "900123",
    "counter@example.org",
)  # fmt: skip
DAYS = {
    "en": ("1 September 2026", "3 September 2026", "27 November 2026", "27 February 2027"),
    "de": ("1. September 2026", "3. September 2026", "27. November 2026", "27. Februar 2027"),
    "it": ("1 settembre 2026", "3 settembre 2026", "27 novembre 2026", "27 febbraio 2027"),
}


def printed(notice: Notice) -> tuple[str, pypdfium2.PdfPage]:
    """The text of the one page, and the page."""
    document = pypdfium2.PdfDocument(notice_pdf(notice, templates=TEMPLATES, made_at=MADE_AT))
    assert len(document) == 1
    text = document[0].get_textpage().get_text_bounded()
    return " ".join(text.split()), document[0]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_draft_says_every_fact_in_the_customers_language_on_one_page_of_a4(language: str) -> None:
    text, page = printed(replace(ENGLISH, language=language, shop_language=language))
    assert [fact for fact in (*FACTS, *DAYS[language], ENGLISH.device) if fact not in text] == []
    # ISO 216: A4 is 210 x 297 mm; a point is 1/72 inch.
    assert page.get_width() == pytest.approx(210 / 25.4 * 72, abs=0.5)
    assert page.get_height() == pytest.approx(297 / 25.4 * 72, abs=0.5)


def test_it_is_titled_as_a_draft_and_leaves_room_for_the_laws_own_wording() -> None:
    text, _ = printed(ENGLISH)
    assert text.startswith("Draft for the shop to check before it is given This is not legal advice")
    assert "Room for wording that the law asks for:" in text and "In writing, by hand." in text


def test_without_a_rule_or_a_price_the_day_and_the_sum_are_blank_lines() -> None:
    text, _ = printed(replace(ENGLISH, collect_by=None, rule_name="", rule_form="", owed=None))
    assert re.search(r"collect it by _{8,}", text) and re.search(r"Still to pay: _{8,}", text)
    assert "No verified rule is switched on" in text
    paid, _ = printed(replace(ENGLISH, owed="£0.00", is_owed=False))
    assert "nothing to pay" in paid and "£0.00" not in paid


def test_a_battery_that_is_not_safe_is_never_to_be_posted() -> None:
    for language, words in (("en", "Do not post it"), ("de", "Nicht mit der Post"), ("it", "posta")):
        assert words in printed(replace(ENGLISH, language=language, safety=("swollen",)))[0]
        assert words not in printed(replace(ENGLISH, language=language))[0]


def test_the_longest_texts_and_every_rules_form_still_fit_on_the_page() -> None:
    lowest = 842.0
    for rule in EXAMPLES:
        long = replace(
            ENGLISH, language="de", shop_language="de", device="Kofferradio Wellenreiter nachtblau " * 6,
            person="Maximiliane von der Hafenstrasse " * 3, shop_lines=("Am langen Kai 4",) * 6, rule_name=rule.name,
            rule_form=rule.form, may_be_given_from=date(2027, 1, 1), safety=("swollen", "hot", "leaking", "wet"),
        )  # fmt: skip
        text, page = printed(long)
        assert "Freundliche Grüße" in text
        boxes = page.get_textpage()
        lowest = min(lowest, *(boxes.get_charbox(i)[1] for i in range(boxes.count_chars())))
    print(f"FIGURE uncollected_notice rules={len(EXAMPLES)} lowest_letter_points={lowest:.0f}")
    assert lowest > 20


def test_the_same_facts_give_the_same_bytes() -> None:
    one, two = (notice_pdf(ENGLISH, templates=TEMPLATES, made_at=MADE_AT) for _ in range(2))
    assert one == two

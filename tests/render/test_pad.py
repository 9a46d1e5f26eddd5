"""What stands on a blank claim ticket, on every paper and in every language.

The codes are read by zxing-cpp (ISO/IEC 18004), which shares no code with the writer; the letters by pdfium.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import zxingcpp

from notify.core.errors import Invalid
from notify.core.languages import LANGUAGES
from notify.core.retention import Rule, default_rule
from notify.render.pad import PadPage, pad_pdf
from notify.render.words import Words
from tests.parts.clock import START

TEMPLATES = Path(__file__).parents[2] / "templates"
LINK = "https://bell.example.org/c/nhckgjgsjphbplbblhpcdddrtdhvgbdk"
SHEETS = {"a4": 1, "a6": 3, "roll80": 2}


def _page(**more: Any) -> PadPage:
    known: dict[str, Any] = {
        "shop_name": "Tramstop Bench", "shop_lines": ("3 Rope Walk", "Quillhaven"), "shop_phone": "+44 1632 960123",
        "number": "X7T-3C0J", "label_text": "X7T3C0J", "qr_text": LINK, "link": LINK, "place": "3/20",
        "purposes": ("repair", "pickup", "afterwards"), "keeping": default_rule("contact_card"), "currency": "GBP",
        "wordings": {"repair": "repair-1", "pickup": "pickup-1", "afterwards": "afterwards-1"},
        "privacy_link": "https://bell.example.org/privacy?language=",
    }  # fmt: skip
    return PadPage(**(known | more))


def _read(page: PadPage, paper: str, language: str) -> tuple[list[str], list[str]]:
    """The words of each sheet, and what the codes say."""
    words = Words(TEMPLATES / "words").get(language)
    data = pad_pdf([page], paper=paper, words=words, templates=TEMPLATES, made_at=START)
    with pypdfium2.PdfDocument(data) as document:
        sheets = [document[i] for i in range(len(document))]
        said = [" ".join(sheet.get_textpage().get_text_range().split()) for sheet in sheets]
        codes = [
            found.text for sheet in sheets for found in zxingcpp.read_barcodes(sheet.render(scale=203 / 72).to_pil())
        ]
        for sheet in sheets:
            sheet.close()
    return said, codes


@pytest.mark.long
def test_each_paper_carries_the_secret_for_the_customer_and_the_number_for_the_device_and_cuts_no_word() -> None:
    read = 0
    for language in LANGUAGES:
        w = Words(TEMPLATES / "words").get(language)
        asked = [
            w["pad.name"],
            w["pad.fault"].split(",")[0],
            "repair-1, pickup-1, afterwards-1",
            w["pad.on_paper"].split(".")[0],
            w["pad.child"].split(":")[0],
        ]
        asked += [w[f"safety.{flag}"] for flag in ("swollen", "hot", "leaking", "wet")]
        for paper, sheets in SHEETS.items():
            said, codes = _read(_page(), paper, language)
            whole = " ".join(said)
            assert sorted(codes) == sorted([LINK, "X7T3C0J"]) and len(said) == sheets, (language, paper)
            assert "\N{HORIZONTAL ELLIPSIS}" not in whole and all(text in whole for text in asked), (language, paper)
            read += len(codes)
    print(f"FIGURE pad_papers papers={len(SHEETS)} languages={len(LANGUAGES)} codes_read={read} wrong=0")


def test_the_shops_piece_never_carries_the_secret() -> None:
    said, _ = _read(_page(), "roll80", "en")
    assert "nhckgjgs" in said[0] and "nhckgjgs" not in said[1]


def test_a_period_that_begins_with_the_end_of_a_year_is_not_printed_as_if_it_began_today() -> None:
    rule = Rule("contact_card", "P6Y", "end_of_financial_year:03-31", (), "the shop's own choice", None)
    said, _ = _read(_page(keeping=rule), "roll80", "en")
    assert "6 years after the end of the financial year (31 March) in which the last device is handed back" in said[0]
    german, _ = _read(_page(keeping=rule), "a4", "de")
    assert "6 Jahre nach dem Ende des Geschäftsjahres (31. März), in dem" in german[0]


def test_without_a_public_address_no_link_is_printed_and_an_unknown_paper_is_named() -> None:
    said, codes = _read(_page(qr_text="shelfbell:c/abc", link="", privacy_link=""), "roll80", "en")
    assert "http" not in " ".join(said) and "shelfbell:c/abc" in codes
    with pytest.raises(Invalid, match="no paper called"):
        _read(_page(), "a9", "en")

"""What stands on tickets and labels, read back from the PDF by a library that did not write it."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta
from itertools import combinations
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from notify.core.errors import Invalid, Misconfigured
from notify.core.languages import LANGUAGES
from notify.render.claim_ticket import ticket_pdf
from notify.render.paper_words import SAFETY_FLAGS, load_words
from tests.parts.paper_samples import (
    DEVICE,
    ENGLISH,
    LINK,
    MADE_AT,
    PART,
    SAMPLES,
    TEMPLATES,
    TOKEN,
    device_label,
    part_label,
    ticket,
)
from tests.parts.print_lab import find, quiet_modules, raster, read_zxing, uneven_modules

pytestmark = pytest.mark.long

ROLLS = ("roll80", "roll58")
PAPERS = (*ROLLS, "a6")
LABELS = ("label50x25", "label57x32")


def text_of(pdf: bytes) -> str:
    """All words of all pages, one space between them."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        pages = [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()
    return " ".join(" ".join(pages).replace("\xa0", " ").split())


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_ticket_says_everything_it_was_given(paper: str, language: str) -> None:
    whole = SAMPLES[language]
    words = load_words(TEMPLATES, whole.language)
    said = text_of(ticket(paper, whole)).replace(" ", "")
    wanted = [
        whole.shop_name, *whole.shop_lines, whole.shop_phone, whole.number, whole.received, whole.device,
        *whole.accessories, whole.fault, *whole.money_lines, whole.promise_line, *whole.cautions,
        *whole.privacy_lines, words.number_alone, words.bring, LINK.removeprefix("https://"),
    ]  # fmt: skip
    assert [text for text in wanted if "".join(text.split()) not in said] == []


def test_the_rule_about_the_number_stands_word_for_word() -> None:
    assert "The number alone does not release the device." in text_of(ticket("roll80"))


def test_without_a_public_address_no_link_and_no_address_is_printed() -> None:
    quiet = replace(ENGLISH, link="", qr_text=f"shelfbell:c/{TOKEN}")
    pdf = ticket("roll58", quiet)
    assert TOKEN not in text_of(pdf).replace(" ", "")
    assert "example.org" not in text_of(pdf)
    assert read_zxing(raster(pdf)[0]) == f"shelfbell:c/{TOKEN}"


def test_a_safe_device_gets_no_cautions_and_an_unsafe_one_gets_them_all() -> None:
    words = load_words(TEMPLATES, "en")
    assert "battery" not in text_of(ticket("roll80")).lower()
    cautions = words.caution_lines(("leaking",))
    said = text_of(ticket("roll80", replace(ENGLISH, cautions=cautions)))
    # US Fire Administration battery page, PHMSA DDR guide; common practice.
    for caution in ("not charge", "not press or pierce", "switched off", "away from anything that burns", "not post"):
        assert caution in said


def test_no_text_of_a_ticket_asks_to_charge_an_unsafe_device() -> None:
    for language, wish in (("en", "please charge"), ("de", "bitte laden"), ("it", "per favore ricari")):
        words = load_words(TEMPLATES, language)
        assert wish not in " ".join(words.caution_lines(SAFETY_FLAGS)).lower()


def test_the_same_input_gives_the_same_bytes_and_another_minute_does_not() -> None:
    later = ticket_pdf(ENGLISH, paper="a6", templates=TEMPLATES, made_at=MADE_AT + timedelta(minutes=1))
    assert ticket("a6") == ticket("a6")
    assert ticket("a6") != later


@pytest.mark.real
def test_the_bytes_are_the_same_in_every_process() -> None:
    code = (
        "import hashlib; from tests.parts.paper_samples import *;"
        "print(hashlib.sha256(ticket('roll80', ITALIAN) + device_label('label50x25')).hexdigest())"
    )
    root = Path(__file__).resolve().parents[2]
    digests = set()
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": "Pacific/Auckland" if seed == "2" else "UTC"}
        done = subprocess.run([sys.executable, "-c", code], cwd=root, env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        digests.add(done.stdout)
    assert len(digests) == 1


def test_the_secret_stays_out_of_what_python_shows_of_a_ticket() -> None:
    assert TOKEN not in repr(ENGLISH)


@pytest.mark.parametrize("secret", [LINK, f"shelfbell:c/{TOKEN}", TOKEN, ""])
def test_a_device_label_refuses_to_carry_anything_but_the_number(secret: str) -> None:
    with pytest.raises(Invalid, match="only the claim number") as caught:
        device_label("label50x25", replace(DEVICE, qr_text=secret))
    assert not secret or secret not in str(caught.value)


@pytest.mark.parametrize("code", ["", "a b", "../c/token", "x" * 25, "é"])
def test_a_part_label_refuses_a_code_that_is_no_code(code: str) -> None:
    with pytest.raises(Invalid, match="part code"):
        part_label("label50x25", replace(PART, code=code))


@pytest.mark.long
@pytest.mark.parametrize("paper", LABELS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_label_shows_every_safety_flag_whole_with_number_and_shelf(paper: str, language: str) -> None:
    words = load_words(TEMPLATES, language)
    for count in range(1, 5):
        for flags in combinations(SAFETY_FLAGS, count):
            said = text_of(device_label(paper, replace(DEVICE, safety=flags), language=language))
            assert [text for text in (*words.safety_words(flags), words.no_charge) if text not in said] == []
            assert DEVICE.number in said
            assert f"{words.shelf} {DEVICE.part_or_shelf}" in said


@pytest.mark.parametrize("length", [6, 12, 13, 24])
def test_a_part_code_of_any_length_is_printed_sturdily(length: int) -> None:
    code = "P-" + "4" * (length - 2)
    page = raster(part_label("label50x25", replace(PART, code=code)))[0]
    found = find(page)
    assert read_zxing(page) == f"shelfbell:p/{code}"
    assert (uneven_modules(page, found), quiet_modules(page, found) >= 4) == (0, True)
    # Versions 4 and 5 (33 and 37 modules) are left out: their blocks repair less.
    assert found.modules not in (33, 37)


def test_an_address_too_long_for_the_paper_is_refused_with_advice() -> None:
    with pytest.raises(Invalid, match=r"too long for this paper.*shorter public address"):
        ticket("roll58", replace(ENGLISH, qr_text="https://example.org/" + "x" * 900))


def test_unknown_paper_language_flag_and_missing_font_are_named(tmp_path: Path) -> None:
    with pytest.raises(Invalid, match=r"no paper called 'a7'.*a6"):
        ticket("a7")
    with pytest.raises(Misconfigured, match=r"language 'fr'.*paper\.fr\.toml"):
        ticket("a6", replace(ENGLISH, language="fr"))
    with pytest.raises(Invalid, match=r"'cold' is no safety flag.*swollen"):
        device_label("label50x25", replace(DEVICE, safety=("cold",)))
    (tmp_path / "words").symlink_to(TEMPLATES / "words")
    with pytest.raises(Misconfigured, match=r"DejaVuSansCondensed\.ttf is missing"):
        ticket_pdf(ENGLISH, paper="a6", templates=tmp_path, made_at=MADE_AT)


def test_a_wide_second_page_says_whose_it_is() -> None:
    crowded = replace(ENGLISH, cautions=load_words(TEMPLATES, "en").caution_lines(SAFETY_FLAGS), fault="x y " * 200)
    pages = raster(ticket("a6", crowded))
    assert len(pages) == 2
    assert f"{ENGLISH.number} 2/2" in text_of(ticket("a6", crowded))
    assert all(np.flatnonzero((page < 200).any(axis=1))[-1] < 1182 - 16 for page in pages)

"""Any text on paper: never a crash, never beyond the edge, and what is missing is seen to be missing."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.render.paper import PAPERS
from notify.render.paper_text import (
    ELLIPSIS,
    MISSING,
    balanced,
    capped,
    glued,
    join_arabic,
    printable,
    visual,
    wrap,
)
from tests.parts.paper_samples import DEVICE, ENGLISH, LINK, PART, device_label, part_label, ticket
from tests.parts.print_lab import raster, read_zxing

ASCII = frozenset(range(32, 127)) | {0xA0, ord(ELLIPSIS), ord(MISSING)}
HOSTILE = {
    "a megabyte of one word": "W" * 1_000_000,
    "a megabyte of words": "radio with strap " * 60_000,
    "emoji": "radio \N{RADIO} \N{MAN}\N{ZERO WIDTH JOINER}\N{ROCKET} \N{THUMBS UP SIGN}\U0001f3fd" * 30,
    "hebrew": "רדיו נייד של שלמה (ירוק) 3",
    "arabic": "راديو محمول سلام 123",
    "greek": "Φορητό ραδιόφωνο Λιμάνι",
    "chinese": "便携式收音机" * 40,
    "stacked marks": "r" + "\u0301\u0489\u0352" * 5_000,
    "controls": "a\x00b\x07c\r\nd\x1b[31me\u202ef\u2028g",
    "halves of pairs": "broken \ud83d text \udc4d",
    "quotes": "'; -- <script>alert(1)</script> (\\) %PDF-1.7 endstream endobj",
}


def one_each(_letter: str) -> float:
    """Every letter is one wide."""
    return 1.0


@pytest.mark.long
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_in_every_field_stays_on_the_paper_and_the_code_readable(name: str) -> None:
    text = HOSTILE[name]
    ticketful = replace(
        ENGLISH, shop_name=text, shop_lines=(text,) * 9, shop_phone=text, number=text[:60], received=text, device=text,
        accessories=(text,) * 40, fault=text, money_lines=(text,) * 20, promise_line=text, cautions=(text,) * 20,
        privacy_lines=(text,) * 20,
    )  # fmt: skip
    for paper in ("roll58", "a6"):  # the narrowest, and the one with pages
        pages = raster(ticket(paper, ticketful))
        assert read_zxing(pages[0]) == LINK
        for page in pages:
            _stays_inside(page, margin=PAPERS[paper].margin)
            assert page.shape[0] < 9_000


@pytest.mark.long
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_on_labels_stays_on_the_label(name: str) -> None:
    text = HOSTILE[name]
    for paper in ("label50x25", "label57x32"):
        device = raster(device_label(paper, replace(DEVICE, device=text, part_or_shelf=text)))[0]
        part = raster(part_label(paper, replace(PART, part=text, supplier=text, number=text[:40])))[0]
        for page in (device, part):
            _stays_inside(page, margin=4)
        assert read_zxing(device) == "K7M2X9T"
        assert read_zxing(part) == "shelfbell:p/P-104K"


def _stays_inside(page: np.ndarray, *, margin: int) -> None:
    inked = page < 200
    columns, rows = np.flatnonzero(inked.any(axis=0)), np.flatnonzero(inked.any(axis=1))
    # Letters may reach a dot or two beyond their advance; the margin is many times that.
    assert columns[0] >= margin - 3
    assert columns[-1] < page.shape[1] - margin + 3
    assert rows[0] >= 2
    assert rows[-1] < page.shape[0] - 2


def test_a_letter_that_the_font_lacks_is_a_box_and_words_around_it_stay() -> None:
    assert printable("radio \N{RADIO} 3", known=ASCII) == f"radio {MISSING} 3"


def test_parted_accents_are_joined_and_line_breaks_become_spaces() -> None:
    assert printable("Cafe\u0301\r\nBu\u0308ro\t 3 ", known=ASCII | {0xE9, 0xFC}) == "Café Büro 3"
    assert printable("48,00\u00a0£", known=ASCII) == f"48,00\u00a0{MISSING}"


def test_lines_are_cut_with_an_ellipsis_only_when_something_is_left_out() -> None:
    assert wrap("one two three", width=7, advance=one_each, most=2) == ("one two", "three")
    assert wrap("one two three four", width=7, advance=one_each, most=2) == ("one two", f"three{ELLIPSIS}")
    assert wrap("abcdefghij", width=4, advance=one_each, most=2) == ("abcd", f"efg{ELLIPSIS}")
    assert wrap("", width=4, advance=one_each, most=2) == ()


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=300), st.integers(1, 30), st.integers(1, 6))
def test_wrapped_text_keeps_width_and_count_and_loses_nothing_silently(text: str, width: int, most: int) -> None:
    clean = printable(text, known=ASCII)
    for breaking in (wrap, balanced):
        lines = breaking(clean, width=width, advance=one_each, most=most)
        assert len(lines) <= most
        assert all(0 < len(line) <= width for line in lines)
        shown = "".join(lines).replace(" ", "")
        assert shown.endswith(ELLIPSIS) or shown == clean.replace(" ", "")


def test_numbers_stay_with_their_word_and_missing_lines_are_counted() -> None:
    assert glued("26 November, 48,00 €, bis 11:30 Uhr") == "26\xa0November, 48,00\xa0€, bis 11:30\xa0Uhr"
    assert capped(["a", "b", "c", "d"], most=2) == ("a", f"{ELLIPSIS} +3")
    assert capped(["a", "b"], most=2) == ("a", "b")


def test_arabic_letters_take_the_joined_shapes_that_unicode_names() -> None:
    # "salaam": the names are those of the Unicode character database.
    assert [unicodedata.name(letter) for letter in join_arabic("سلام")] == [
        "ARABIC LETTER SEEN INITIAL FORM",
        "ARABIC LIGATURE LAM WITH ALEF FINAL FORM",
        "ARABIC LETTER MEEM ISOLATED FORM",
    ]
    assert [unicodedata.name(letter) for letter in join_arabic("بيت")] == [
        "ARABIC LETTER BEH INITIAL FORM",
        "ARABIC LETTER YEH MEDIAL FORM",
        "ARABIC LETTER TEH FINAL FORM",
    ]


def test_right_to_left_words_are_turned_and_numbers_within_them_are_not() -> None:
    # Unicode UAX #9 for a left-to-right line: a number after Hebrew belongs to its run (N1) and so stands
    # left of it, its digits in order (I1, L2); brackets around it go along (N0) and are mirrored (L4).
    assert visual("abc שלום 123") == "abc 123 םולש"
    assert visual("שלום (3) abc") == "(3) םולש abc"
    assert visual("abc שלום, x") == "abc םולש, x"
    assert visual("radio 3") == "radio 3"

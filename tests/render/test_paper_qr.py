"""The QR code for pages: small, plain, readable, and honest about its size and level."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest
import zxingcpp

from notify.core.errors import Invalid
from notify.render.qr import fitting_symbol, qr_svg, runs, symbol
from tests.parts.paper_samples import LINK
from tests.parts.print_lab import Dots, padded, read_opencv, read_zxing

SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg: str, *, dots: int = 6) -> Dots:
    """The modules of the SVG as dots, from its own path data and nothing else."""
    root = ElementTree.fromstring(svg)
    side = int(root.attrib["viewBox"].split()[2])
    paper = np.full((side, side), 255, np.uint8)
    dark = root.findall(f"{SVG}path")[1].attrib["d"]
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", dark):
        paper[int(y), int(x) : int(x) + int(length)] = 0
    return np.kron(paper, np.ones((dots, dots), np.uint8))


def test_the_page_code_is_read_by_two_readers_and_keeps_its_quiet_zone() -> None:
    picture = drawn(qr_svg(LINK))
    assert (read_zxing(picture), read_opencv(picture)) == (LINK, LINK)
    ring = picture.copy()
    ring[24:-24, 24:-24] = 255
    assert ring.min() == 255  # 4 modules of 6 dots, ISO/IEC 18004


def test_the_page_code_is_small_plain_and_titled() -> None:
    svg = qr_svg(LINK, title='Claim <code> & "number"\x07')
    assert len(svg) < 9_000
    assert not re.search(r"style|script|href|on\w+=", svg)
    title = ElementTree.fromstring(svg).find(f"{SVG}title")
    assert title is not None
    assert title.text == 'Claim <code> & "number"'
    assert LINK not in svg


@pytest.mark.parametrize("level", ["Q", "H"])
def test_readers_report_the_error_level_that_was_asked_for(level: str) -> None:
    code = symbol(LINK, level=level)
    dots = np.kron(np.array(code.rows, np.uint8), np.ones((6, 6), np.uint8))
    picture = padded(np.asarray(255 * (1 - dots), np.uint8), rim=24)
    assert zxingcpp.read_barcodes(picture)[0].ec_level == level


def test_runs_cover_exactly_the_dark_modules() -> None:
    code = symbol("K7M2X9T")
    assert sum(length for _x, _y, length in runs(code)) == sum(map(sum, code.rows))


def test_a_narrow_paper_takes_whole_dots_and_never_fewer_than_three() -> None:
    for width in (174, 342, 576):
        code, dots = fitting_symbol(LINK, width=width, most=9, least=1)
        assert code.across * dots <= width
        assert 3 <= dots <= 9
    with pytest.raises(Invalid, match="too long for this paper"):
        fitting_symbol(LINK, width=100, most=9, least=1)


@pytest.mark.parametrize(
    ("text", "words"), [("", "nothing to say"), ("x" * 4000, "too long"), ("x" * 1_000_000, "too long")]
)
def test_texts_that_no_code_can_hold_are_refused(text: str, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        symbol(text)

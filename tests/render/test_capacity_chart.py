"""The picture of the waits: its bars measured in the file itself, letters as letters, nothing that runs or loads."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest

from notify.render.capacity_chart import CapacityWords, draw_capacity
from notify.render.chart_style import DARK, LIGHT, Inks

WORDS = CapacityWords("of 100 people wait more than five minutes", "dashed line: no more than 10", "people with a time")
ROWS = [(1, 0.0), (2, 0.02), (3, 0.08), (4, 0.25), (5, 0.75), (6, 1.0)]
SVG = "{http://www.w3.org/2000/svg}"

pytestmark = pytest.mark.long


def _bars(picture: bytes) -> list[tuple[float, str]]:
    """(height in the file's units, style) of each bar: closed shapes with four corners that stand on one line."""
    found = []
    for path in ET.fromstring(picture).iter(f"{SVG}path"):
        points = [tuple(map(float, pair)) for pair in re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", path.get("d", ""))]
        if len(points) == 4 and "clip-path" in path.attrib and path.get("d", "").rstrip().endswith("z"):
            ys = [y for _, y in points]
            found.append((max(ys) - min(ys), path.get("style", "")))
    return found


def test_each_bar_is_as_high_as_its_share_and_only_those_too_high_are_hatched() -> None:
    bars = _bars(draw_capacity(ROWS, target=0.1, words=WORDS))
    assert len(bars) == len(ROWS)
    whole = bars[-1][0]
    for (height, style), (_, share) in zip(bars, ROWS, strict=True):
        assert height / whole == pytest.approx(share, abs=0.002)
        assert ("url(#" in style) == (share > 0.1), (share, style)


def test_the_numbers_and_words_are_letters_that_can_be_read_aloud_and_searched() -> None:
    picture = ET.fromstring(draw_capacity(ROWS, target=0.1, words=WORDS))
    said = [" ".join("".join(text.itertext()).split()) for text in picture.iter(f"{SVG}text")]
    for share in ("0", "2", "8", "25", "75", "100", WORDS.up, WORDS.line, WORDS.along):
        assert share in said, (share, said)


@pytest.mark.parametrize(("dark", "inks"), [(False, LIGHT), (True, DARK)])
def test_it_holds_nothing_that_runs_or_loads_and_uses_the_inks_of_its_page_only(dark: bool, inks: Inks) -> None:
    picture = draw_capacity(ROWS, target=0.1, words=WORDS, dark=dark)
    root = ET.fromstring(picture)
    assert not [one for one in root.iter() if one.tag.removeprefix(SVG) in ("script", "image", "foreignObject", "a")]
    links = [value for one in root.iter() for name, value in one.attrib.items() if name.endswith("href")]
    assert all(link.startswith("#") for link in links)
    colours = set(re.findall(r"#[0-9a-f]{6}", picture.decode())) - {"#000000"}
    assert colours <= {inks.ink, inks.soft, inks.rule, inks.accent}
    assert picture == draw_capacity(ROWS, target=0.1, words=WORDS, dark=dark), "other bytes for the same figures"


def _contrast(one: str, other: str) -> float:
    """WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("inks", "paper"), [(LIGHT, "#f6f4ec"), (DARK, "#11191a")])
def test_letters_and_bars_stand_out_from_the_paper_of_the_page(inks: Inks, paper: str) -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert min(_contrast(ink, paper) for ink in (inks.ink, inks.soft)) >= 4.5  # SC 1.4.3
    assert _contrast(inks.accent, paper) >= 3  # SC 1.4.11


def test_the_library_is_loaded_with_the_first_picture_and_never_with_the_pages() -> None:
    code = (
        "import sys, notify.cli.serve, notify.web.app as app, importlib\n"
        "app.blueprints('notify.web.counter', list(importlib.import_module('notify.web.counter').__path__))\n"
        "from notify.render.capacity_chart import CapacityWords, draw_capacity\n"
        "assert not {'matplotlib', 'numpy'} & set(sys.modules), 'loaded with the pages'\n"
        "draw_capacity([(1, .5)], target=.1, words=CapacityWords('a', 'b', 'c'))\n"
        "assert 'matplotlib' in sys.modules and 'matplotlib.pyplot' not in sys.modules\n"
        "import resource; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    print(f"FIGURE capacity_chart_memory peak_mb={done.stdout.strip()}")

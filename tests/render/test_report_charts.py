"""The pictures of the reports, measured in their own files: heights, places and shapes against other reckonings."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.signal import lfilter

from notify.forecast import scores
from notify.render.bench_charts import CauseBar, ChartWords, DayBar, draw_load, draw_time
from notify.render.chart_style import DARK, LIGHT
from notify.render.promise_charts import Dot, draw_dots, draw_drift, draw_pits

WORDS = ChartWords("what it counts", "how it is drawn", "what it stands on")
SVG = "{http://www.w3.org/2000/svg}"
DAYS = [DayBar("today", 6, 6, 5, 6), DayBar("Thu", 12, 9, 6, 12), DayBar("Fri", 12, 3, 0, 9), DayBar("Sat", 0, 0, 0, 0)]
CAUSES = [
    CauseBar("for a part", 12.0, True),
    CauseBar("for the bench", 6.0, True),
    CauseBar("on the bench", 1.5, False),
]
DOTS = [Dot(4, 2), Dot(4, 4), Dot(4, 6), Dot(20, 25), Dot(20, 18), Dot(8, 30, waits=True)]
Drawing = Callable[[bool], bytes]
EVERY: dict[str, Drawing] = {
    "load": lambda dark: draw_load(DAYS, words=WORDS, dark=dark),
    "time": lambda dark: draw_time(CAUSES, words=WORDS, dark=dark),
    "dots": lambda dark: draw_dots(DOTS, words=WORDS, dark=dark),
    "pits": lambda dark: draw_pits((1, 2, 3, 4), words=WORDS, dark=dark),
    "drift": lambda dark: draw_drift([0.9, 0.8, 0.6], start=0.9, low=0.7, high=1.0, words=WORDS, dark=dark),
}
NOTHING: dict[str, Drawing] = {
    "load": lambda dark: draw_load([], words=WORDS, dark=dark),
    "time": lambda dark: draw_time([], words=WORDS, dark=dark),
    "dots": lambda dark: draw_dots([], words=WORDS, dark=dark),
    "pits": lambda dark: draw_pits((0,) * 10, words=WORDS, dark=dark),
    "drift": lambda dark: draw_drift([], start=0.9, low=0.7, high=1.0, words=WORDS, dark=dark),
}

pytestmark = pytest.mark.long


def points(path: Any) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", path.get("d", ""))]


def bars(picture: bytes) -> list[tuple[float, float, str]]:
    """(width, height, style) of each upright box that is cut off at the picture's own edges."""
    found = []
    for path in ET.fromstring(picture).iter(f"{SVG}path"):
        corners = points(path)
        closed = path.get("d", "").rstrip().endswith("z") or corners[:1] == corners[-1:]
        if len(set(corners)) in (2, 4) and closed and len(corners) >= 4 and "clip-path" in path.attrib:
            xs, ys = zip(*corners, strict=True)
            found.append((max(xs) - min(xs), max(ys) - min(ys), path.get("style", "")))
    return found


def said(picture: bytes) -> str:
    return " ".join(" ".join("".join(one.itertext()).split()) for one in ET.fromstring(picture).iter(f"{SVG}text"))


def marks(picture: bytes) -> list[tuple[int, list[tuple[float, float]]]]:
    """(strokes of the shape, where it stands each time) for each kind of dot; few are written out, many are not."""
    found = []
    for group in ET.fromstring(picture).iter(f"{SVG}g"):
        if group.get("id", "").startswith("PathCollection"):
            shapes, uses = list(group.iter(f"{SVG}path")), list(group.iter(f"{SVG}use"))
            places = [(float(use.get("x", 0)), float(use.get("y", 0))) for use in uses]
            middles = [tuple(map(float, np.array(points(one)).mean(axis=0))) for one in shapes]
            strokes = len(re.findall(r"[MLCz]", shapes[0].get("d", "")))
            found.append((strokes, places or [(x, y) for x, y in middles]))
    return found


def test_a_days_outline_is_as_high_as_its_hours_and_filled_as_far_as_they_are_taken() -> None:
    heights = [height for _, height, _ in bars(EVERY["load"](False))]
    unit = heights[2] / 12
    assert heights == pytest.approx([unit * hours for day in DAYS for hours in (day.room, day.taken)], abs=0.02)
    assert ["fill: none" in style for _, _, style in bars(EVERY["load"](False))] == [True, False] * 4


def test_a_cause_is_as_long_as_its_hours_and_hatched_where_it_waits() -> None:
    found = bars(EVERY["time"](False))
    lengths = [width for width, _, _ in found]
    assert lengths == pytest.approx([lengths[0] * one.hours / 12 for one in CAUSES], abs=0.02)
    assert ["url(#" in style for _, _, style in found] == [one.waits for one in CAUSES]


def test_the_histograms_bars_are_those_of_numpy() -> None:
    chance = random.Random(4)
    values = [chance.betavariate(2, 1.3) for _ in range(500)] + [0.0, 1.0]
    wanted, _ = np.histogram(values, bins=10, range=(0, 1))
    counted = scores.histogram(values)
    heights = np.array([height for _, height, _ in bars(draw_pits(counted, words=WORDS))])
    assert heights / heights.max() == pytest.approx(wanted / wanted.max(), abs=0.002)
    assert all(str(number) in said(draw_pits(counted, words=WORDS)).split() for number in wanted)


def test_the_moving_share_runs_through_the_points_that_a_digital_filter_gives() -> None:
    """The EWMA of NIST's e-Handbook 6.3.2.4 is a filter of one pole: scipy's lfilter reckons it apart."""
    chance = random.Random(6)
    kept = [float(chance.random() < 0.8) for _ in range(60)]
    wanted, _ = lfilter([0.1], [1, -0.9], kept, zi=[0.9 * 0.9])
    picture = draw_drift(scores.ewma(kept, start=0.9), start=0.9, low=0.69, high=1.0, words=WORDS)
    lines = [points(path) for path in ET.fromstring(picture).iter(f"{SVG}path") if "clip-path" in path.attrib]
    drawn = np.array([y for _, y in max(lines, key=len)])
    assert len(drawn) >= 55  # points on one straight line are drawn as one
    fit = np.polyfit(wanted, drawn, 1) if len(drawn) == 60 else None
    assert fit is not None and np.abs(np.polyval(fit, wanted) - drawn).max() < 0.02 and fit[0] < 0


def test_kept_late_and_unfinished_promises_have_shapes_of_their_own_and_late_ones_lie_above_the_line() -> None:
    """A circle is drawn with ten strokes of the pen, a triangle that is closed with five, a cross with four."""
    picture = EVERY["dots"](False)
    (circle, kept), (triangle, late), (cross, waits) = marks(picture)
    assert (circle, triangle, cross) == (10, 5, 4) and (len(kept), len(late), len(waits)) == (3, 2, 1)
    dashed = (one for one in ET.fromstring(picture).iter(f"{SVG}path") if "stroke-dasharray" in one.get("style", ""))
    (x0, y0), (x1, y1) = points(next(dashed))

    def below(place: tuple[float, float]) -> float:
        return place[1] - (y0 + (place[0] - x0) * (y1 - y0) / (x1 - x0))

    assert all(below(one) >= -0.01 for one in kept) and all(below(one) < -0.01 for one in (*late, *waits))


@pytest.mark.parametrize("drawing", [EVERY, NOTHING], ids=["drawn", "nothing"])
@pytest.mark.parametrize("name", list(EVERY))
def test_every_picture_holds_letters_and_its_pages_inks_alone_and_is_the_same_each_time(
    drawing: dict[str, Drawing], name: str
) -> None:
    for dark, inks in ((False, LIGHT), (True, DARK)):
        picture = drawing[name](dark)
        root = ET.fromstring(picture)
        assert not [
            one for one in root.iter() if one.tag.removeprefix(SVG) in ("script", "image", "foreignObject", "a")
        ]
        links = [value for one in root.iter() for key, value in one.attrib.items() if key.endswith("href")]
        assert all(link.startswith("#") for link in links)
        colours = set(re.findall(r"#[0-9a-f]{6}", picture.decode())) - {"#000000"}
        assert colours <= {inks.ink, inks.soft, inks.rule, inks.accent}
        assert WORDS.up in said(picture) and WORDS.legend in said(picture)
        assert picture == drawing[name](dark)


def test_a_dollar_sign_in_a_label_stays_one() -> None:
    assert "$5 radio$ x" in said(draw_time([CauseBar("$5 radio$ x", 1.0, True)], words=WORDS))

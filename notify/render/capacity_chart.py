"""The waits at the counter as a picture: a bar for each number of people in a slot, and the line not to be crossed.

For <img>: the file holds styles, which the page's own policy would refuse. matplotlib is loaded with the first picture.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Any

_ONE_AT_A_TIME = Lock()  # matplotlib keeps settings for the whole process


@dataclass(frozen=True, slots=True)
class Inks:
    """The colours of the pages (web/static/shelfbell.css), which a picture cannot ask for."""

    ink: str
    soft: str
    rule: str
    accent: str


LIGHT = Inks(ink="#1a2323", soft="#4b5653", rule="#cfcab9", accent="#0b565b")
DARK = Inks(ink="#ece8dc", soft="#b0bab4", rule="#37443f", accent="#86cfc6")


@dataclass(frozen=True, slots=True)
class CapacityWords:
    """What stands in the picture: what a bar counts, what the dashed line says, and what the bars stand on."""

    up: str
    line: str
    along: str


def draw_capacity(
    rows: Sequence[tuple[int, float]], *, target: float, words: CapacityWords, dark: bool = False
) -> bytes:
    """SVG of (people in a slot, share that waits too long); the same input gives the same bytes.

    Bars within `target` are full, the others outlined, and each has its number on top: no colour tells anything alone.
    The background is transparent.
    """
    with _ONE_AT_A_TIME:
        return _drawn(rows, target, words, DARK if dark else LIGHT)


@cache
def _library() -> Any:
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    # Letters stay letters, in the reader's own font; identifiers inside the file are the same each time.
    matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "shelfbell", "font.size": 12})
    matplotlib.rcParams["font.family"] = "sans-serif"
    return Figure, FigureCanvasSVG


def _drawn(rows: Sequence[tuple[int, float]], target: float, words: CapacityWords, inks: Inks) -> bytes:
    make, canvas = _library()
    figure = make(figsize=(4.4, 3.1), layout="constrained")
    figure.patch.set_alpha(0)
    axes = figure.add_subplot()
    axes.set_facecolor("none")
    _bars(axes, rows, target, inks)
    axes.axhline(target * 100, color=inks.ink, linewidth=1.4, linestyle=(0, (5, 3)))
    _edges(axes, rows, target, words, inks)
    out = io.BytesIO()
    canvas(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _bars(axes: Any, rows: Sequence[tuple[int, float]], target: float, inks: Inks) -> None:
    for at, (_, share) in enumerate(rows):
        held = share <= target
        axes.bar(at, share * 100, width=0.62, facecolor=inks.accent if held else "none", edgecolor=inks.accent,
                 linewidth=1.6, hatch="" if held else "///")  # fmt: skip
        above = max(share, target) if held else share  # never across the dashed line
        axes.text(
            at, above * 100 + 2, f"{share * 100:.0f}", color=inks.ink, ha="center", va="bottom", fontweight="bold"
        )


def _edges(axes: Any, rows: Sequence[tuple[int, float]], target: float, words: CapacityWords, inks: Inks) -> None:
    axes.set_xticks(range(len(rows)), [str(number) for number, _ in rows])
    axes.set_xlabel(words.along, color=inks.soft)
    axes.set_title(f"{words.up}\n{words.line}", loc="left", color=inks.soft, fontsize=12)
    axes.set_ylim(0, 112)
    axes.set_xlim(-0.6, len(rows) - 0.4)
    axes.set_yticks([target * 100, 50, 100])
    axes.tick_params(colors=inks.soft, length=0)
    axes.tick_params(axis="x", colors=inks.ink)
    axes.grid(axis="y", color=inks.rule, linewidth=0.8)
    axes.set_axisbelow(True)
    for side, spine in axes.spines.items():
        spine.set_visible(side == "bottom")
        spine.set_color(inks.soft)

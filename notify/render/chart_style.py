"""What all pictures share: their colours, the library that draws them, their edges, and the way into SVG.

For <img>: the files hold styles, which the page's own policy would refuse. matplotlib is loaded with the first picture.
Letters stay letters, in the reader's own font; the same input gives the same bytes; the background is transparent.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Any

_ONE_AT_A_TIME = Lock()  # matplotlib keeps settings for the whole process
SIZE = (4.4, 3.1)  # inches: 422 x 298 pixels on a page
DASHED = (0, (5, 3))


@dataclass(frozen=True, slots=True)
class Inks:
    """The colours of the pages (web/static/shelfbell.css), which a picture cannot ask for."""

    ink: str
    soft: str
    rule: str
    accent: str


LIGHT = Inks(ink="#1a2323", soft="#4b5653", rule="#cfcab9", accent="#0b565b")
DARK = Inks(ink="#ece8dc", soft="#b0bab4", rule="#37443f", accent="#86cfc6")


def draw(on: Callable[[Any, Inks], None], *, dark: bool, size: tuple[float, float] = SIZE) -> bytes:
    """SVG of what `on` draws on empty axes in the colours it is given; `size` in inches."""
    with _ONE_AT_A_TIME:
        make, canvas = _library()
        figure = make(figsize=size, layout="constrained")
        figure.patch.set_alpha(0)
        axes = figure.add_subplot()
        axes.set_facecolor("none")
        on(axes, DARK if dark else LIGHT)
        out = io.BytesIO()
        canvas(figure).print_svg(out, metadata={"Date": None, "Creator": None})
        return out.getvalue()


def edge(axes: Any, inks: Inks, *, title: str, along: str, rules: str = "y", stands_on: str = "bottom") -> None:
    """Title above, words below, thin rules for one direction, and no frame but the side that all stands on."""
    axes.figure.suptitle(title, x=0.01, ha="left", color=inks.soft, fontsize=12)
    axes.set_xlabel(along, color=inks.soft)
    axes.tick_params(colors=inks.soft, length=0)
    axes.grid(axis=rules, color=inks.rule, linewidth=0.8)
    axes.set_axisbelow(True)
    for side, spine in axes.spines.items():
        spine.set_visible(side == stands_on)
        spine.set_color(inks.soft)


@cache
def _library() -> Any:
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    # Letters stay letters; identifiers inside the file are the same each time; "$" is a sign, not a formula.
    matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "shelfbell", "font.size": 12})
    matplotlib.rcParams.update({"font.family": "sans-serif", "text.parse_math": False})
    return Figure, FigureCanvasSVG

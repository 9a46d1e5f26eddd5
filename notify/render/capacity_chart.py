"""The waits at the counter as a picture: a bar for each number of people in a slot, and the line not to be crossed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from notify.render.chart_style import DASHED, Inks, draw, edge


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
    """

    def on(axes: Any, inks: Inks) -> None:
        _bars(axes, rows, target, inks)
        axes.axhline(target * 100, color=inks.ink, linewidth=1.4, linestyle=DASHED)
        edge(axes, inks, title=f"{words.up}\n{words.line}", along=words.along)
        axes.set_xticks(range(len(rows)), [str(number) for number, _ in rows], color=inks.ink)
        axes.set_ylim(0, 112)
        axes.set_xlim(-0.6, len(rows) - 0.4)
        axes.set_yticks([target * 100, 50, 100])

    return draw(on, dark=dark)


def _bars(axes: Any, rows: Sequence[tuple[int, float]], target: float, inks: Inks) -> None:
    for at, (_, share) in enumerate(rows):
        held = share <= target
        axes.bar(at, share * 100, width=0.62, facecolor=inks.accent if held else "none", edgecolor=inks.accent,
                 linewidth=1.6, hatch="" if held else "///")  # fmt: skip
        above = max(share, target) if held else share  # never across the dashed line
        axes.text(
            at, above * 100 + 2, f"{share * 100:.0f}", color=inks.ink, ha="center", va="bottom", fontweight="bold"
        )

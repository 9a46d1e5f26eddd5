"""How promises were kept, as pictures: each one as a dot, where they fell in their forecasts, and whether it drifts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from notify.render.bench_charts import ChartWords
from notify.render.chart_style import DASHED, Inks, draw, edge

# Shapes tell what colours would: kept, late, not ready yet.
_KEPT, _LATE, _OPEN = "o", "^", "x"
_TALL = 1.6  # of the longest promise: what took longer still stands at the upper edge


@dataclass(frozen=True, slots=True)
class Dot:
    """One promise, from when it was made: after how long it was promised and after how long the device was ready.

    One that is not ready yet (`waits`) has the time that it has taken so far.
    """

    promised: float
    taken: float
    waits: bool = False


def draw_dots(dots: Sequence[Dot], *, words: ChartWords, dark: bool = False) -> bytes:
    """SVG of promised against actual: what lies above the diagonal was late.

    Both ways run by the square root: minutes and weeks have room on one picture, and the diagonal stays straight.
    """
    wide = max([dot.promised for dot in dots] + [1.0]) * 1.05
    tall = min(max([dot.taken for dot in dots] + [wide]), wide * _TALL) * 1.05

    def on(axes: Any, inks: Inks) -> None:
        for scale in (axes.set_xscale, axes.set_yscale):
            scale("function", functions=(_root, _square))
        axes.plot([0, wide], [0, wide], color=inks.ink, linewidth=1.4, linestyle=DASHED)
        for shape in (_KEPT, _LATE, _OPEN):
            those = [dot for dot in dots if _shape(dot) == shape]
            full = inks.accent if shape == _KEPT else "none"
            face = {} if shape == _OPEN else {"facecolors": full, "edgecolors": inks.accent}
            axes.scatter([dot.promised for dot in those], [min(dot.taken, tall * 0.98) for dot in those], s=34,
                         marker=shape, linewidths=1.4, clip_on=False, zorder=3,
                         **(face or {"color": inks.ink}))  # fmt: skip
        edge(axes, inks, title=words.title, along=words.along, rules="both")
        axes.set_xlim(0, wide)
        axes.set_ylim(0, tall)
        axes.set_xticks(_ticks(wide))
        axes.set_yticks(_ticks(tall))
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter("{x:g}")

    return draw(on, dark=dark)


def draw_pits(counts: Sequence[int], *, words: ChartWords, dark: bool = False) -> bytes:
    """SVG of a histogram over equal shares of the forecast; the dashed line is where a fair one would end."""
    fair, top = sum(counts) / max(1, len(counts)), max([*counts, 1])

    def on(axes: Any, inks: Inks) -> None:
        for at, count in enumerate(counts):
            axes.bar(at, count, width=0.86, facecolor=inks.accent, edgecolor=inks.accent)
            axes.text(at, max(count, fair) + top * 0.02 if count > fair - top * 0.1 else count + top * 0.02, str(count),
                      color=inks.ink, ha="center", va="bottom", fontweight="bold")  # fmt: skip
        axes.axhline(fair, color=inks.ink, linewidth=1.4, linestyle=DASHED)
        edge(axes, inks, title=words.title, along=words.along)
        step = 100 // max(1, len(counts))
        axes.set_xticks([at - 0.5 for at in range(len(counts) + 1)], [str(at * step) for at in range(len(counts) + 1)])
        axes.set_xlim(-0.6, len(counts) - 0.4)
        axes.set_ylim(0, max(top, fair) * 1.16)
        axes.set_yticks([])

    return draw(on, dark=dark)


def draw_drift(
    values: Sequence[float], *, start: float, low: float, high: float, words: ChartWords, dark: bool = False
) -> bytes:
    """SVG of a moving share (0 to 1) after each promise, with its limits dashed; what is outside has another shape."""
    out = [at for at, value in enumerate(values) if not low <= value <= high]

    def on(axes: Any, inks: Inks) -> None:
        axes.plot(range(len(values)), [100 * value for value in values], color=inks.accent, linewidth=1.8)
        axes.scatter(out, [100 * values[at] for at in out], s=26, marker=_LATE, facecolors="none",
                     edgecolors=inks.ink, linewidths=1.4, zorder=3)  # fmt: skip
        for limit in (low, high):
            axes.axhline(100 * limit, color=inks.ink, linewidth=1.4, linestyle=DASHED)
        axes.axhline(100 * start, color=inks.soft, linewidth=0.8)
        edge(axes, inks, title=words.title, along=words.along)
        axes.set_ylim(min([100 * low, *(100 * value for value in values)]) - 4, 104)
        axes.set_xticks([])

    return draw(on, dark=dark)


def _root(values: Any) -> Any:
    import numpy as np

    return np.sqrt(np.maximum(values, 0.0))


def _square(values: Any) -> Any:
    return values**2


def _ticks(most: float) -> list[float]:
    """Round numbers that stand about evenly by the square root."""
    return [0.0, *sorted({_round_down(most * (step / 5) ** 2) for step in range(1, 6)})]


def _round_down(value: float) -> float:
    """1, 2, 3 or 5 of the value's own size."""
    size = 10.0 ** math.floor(math.log10(value))
    return round(max(digit for digit in (1, 2, 3, 5) if digit * size <= value * (1 + 1e-9)) * size, 9)


def _shape(dot: Dot) -> str:
    if dot.waits:
        return _OPEN
    return _KEPT if dot.taken <= dot.promised else _LATE

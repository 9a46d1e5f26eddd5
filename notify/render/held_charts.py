"""What is held as pictures: columns of people, and consents that lie beside each other. Each bar has its number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from notify.render.bench_charts import ChartWords
from notify.render.chart_style import Inks, draw, edge


@dataclass(frozen=True, slots=True)
class Column:
    """How many people, and what stands below; `full` columns are filled, the others are outlines."""

    label: str
    number: int
    full: bool = True


@dataclass(frozen=True, slots=True)
class YesNo:
    """How many people last said yes, and how many no."""

    label: str
    yes: int
    no: int


def draw_columns(columns: Sequence[Column], *, words: ChartWords, dark: bool = False) -> bytes:
    """SVG of columns side by side, each with its number on top; a column of nobody has no number."""
    top = max([one.number for one in columns] + [1])

    def on(axes: Any, inks: Inks) -> None:
        for at, one in enumerate(columns):
            axes.bar(at, one.number, width=0.62, facecolor=inks.accent if one.full else "none",
                     edgecolor=inks.accent, linewidth=1.6)  # fmt: skip
            if one.number:
                axes.text(at, one.number + top * 0.02, _short(one.number), color=inks.ink, ha="center", va="bottom",
                          fontweight="bold")  # fmt: skip
        edge(axes, inks, title=words.title, along=words.along)
        axes.set_xticks(range(len(columns)), [one.label for one in columns], color=inks.ink)
        axes.set_yticks([])
        axes.set_xlim(-0.6, len(columns) - 0.4)
        axes.set_ylim(0, top * 1.16)

    return draw(on, dark=dark)


def draw_yes_no(rows: Sequence[YesNo], *, words: ChartWords, dark: bool = False) -> bytes:
    """SVG of lying bars, the first on top: full for yes, and behind it hatched for no; both numbers at the end."""
    longest = max([one.yes + one.no for one in rows] + [1])

    def on(axes: Any, inks: Inks) -> None:
        for at, one in enumerate(rows):
            axes.barh(at, one.yes, height=0.62, facecolor=inks.accent, edgecolor=inks.accent, linewidth=1.6)
            axes.barh(at, one.no, left=one.yes, height=0.62, facecolor="none", edgecolor=inks.accent, linewidth=1.6,
                      hatch="///")  # fmt: skip
            axes.text(one.yes + one.no + longest * 0.02, at, f"{_short(one.yes)} : {_short(one.no)}", color=inks.ink,
                      ha="left", va="center", fontweight="bold")  # fmt: skip
        edge(axes, inks, title=words.title, along=words.along, rules="x", stands_on="left")
        axes.set_yticks(range(len(rows)), [one.label for one in rows], color=inks.ink)
        axes.set_xticks([])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlim(0, longest * 1.3)

    return draw(on, dark=dark, size=(4.4, 1.2 + 0.5 * max(1, len(rows))))


def _short(number: int) -> str:
    """ "940", "12k", "1.2M": so that numbers do not run into each other."""
    for size, sign in ((1_000_000, "M"), (1_000, "k")):
        if number >= 10 * size or (number >= size and sign == "M"):
            return f"{number / size:.1f}".removesuffix(".0") + sign if number < 10 * size else f"{number // size}{sign}"
    return str(number)

"""The coming days at the bench, and where the time goes, as pictures. Every bar has its number; none needs a colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from notify.render.chart_style import Inks, draw, edge


@dataclass(frozen=True, slots=True)
class DayBar:
    """One day in hours: all that there are, those taken on average, and from where to where 8 times in 10."""

    label: str
    room: float
    taken: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CauseBar:
    """One cause in hours; `waits`: nobody does anything meanwhile."""

    label: str
    hours: float
    waits: bool


@dataclass(frozen=True, slots=True)
class ChartWords:
    """The two lines above a picture, and the one below it."""

    up: str
    legend: str
    along: str

    @property
    def title(self) -> str:
        """Both lines above it."""
        return f"{self.up}\n{self.legend}" if self.legend else self.up


def draw_load(days: Sequence[DayBar], *, words: ChartWords, dark: bool = False) -> bytes:
    """SVG of the days: an outline for the hours there are, filled as far as they are taken, a stroke for the range."""
    top = max([day.room for day in days] + [day.high for day in days] + [1.0])

    def on(axes: Any, inks: Inks) -> None:
        for at, day in enumerate(days):
            _day(axes, at, day, top, inks)
        edge(axes, inks, title=words.title, along=words.along)
        axes.set_xticks(range(len(days)), [f"{day.label}\n{_short(day.taken)}" for day in days], color=inks.ink)
        axes.set_xlim(-0.6, len(days) - 0.4)
        axes.set_ylim(0, top * 1.05)

    return draw(on, dark=dark)


def draw_time(causes: Sequence[CauseBar], *, words: ChartWords, dark: bool = False) -> bytes:
    """SVG of lying bars, the first on top: full for work, hatched for waiting."""
    longest = max([one.hours for one in causes] + [0.1])

    def on(axes: Any, inks: Inks) -> None:
        for at, one in enumerate(causes):
            axes.barh(at, one.hours, height=0.62, facecolor="none" if one.waits else inks.accent,
                      edgecolor=inks.accent, linewidth=1.6, hatch="///" if one.waits else "")  # fmt: skip
            axes.text(one.hours + longest * 0.02, at, _short(one.hours), color=inks.ink, ha="left", va="center",
                      fontweight="bold")  # fmt: skip
        edge(axes, inks, title=words.title, along=words.along, rules="x", stands_on="left")
        axes.set_yticks(range(len(causes)), [one.label for one in causes], color=inks.ink)
        axes.set_ylim(len(causes) - 0.4, -0.6)
        axes.set_xlim(0, longest * 1.16)

    return draw(on, dark=dark, size=(4.4, 0.9 + 0.34 * max(1, len(causes))))


def _day(axes: Any, at: int, day: DayBar, top: float, inks: Inks) -> None:
    axes.bar(at, day.room, width=0.62, facecolor="none", edgecolor=inks.accent, linewidth=1.6)
    axes.bar(at, day.taken, width=0.62, facecolor=inks.accent, edgecolor=inks.accent, linewidth=1.6)
    if day.high - day.low > top * 0.02:
        axes.vlines(at + 0.4, day.low, day.high, color=inks.ink, linewidth=2.4)


def _short(hours: float) -> str:
    """ "3.2" below ten, "14" above; "9" and not "9.0"."""
    return f"{hours:.1f}".removesuffix(".0") if hours < 9.95 else f"{hours:.0f}"

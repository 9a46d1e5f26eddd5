"""One figure as one JSON line, with the facts of the machine it was measured on."""

from __future__ import annotations

import json
import os
import platform
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class Side:
    """What one side came to: the median over the rounds, with its unit, and every round's own value."""

    value: float
    unit: str
    rounds: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure whose `ratio` is ours against theirs. `higher` says which way is better.

    For a speed `ratio` is ours divided by theirs and is met at `goal` or above; for a physical limit it is
    ours divided by the limit and is met at 1 or below. `n` is how many things each side did, all rounds
    together; `more` holds what a reader needs to judge the figure.
    """

    name: str
    ratio: float
    goal: float
    against: str
    n: int
    ours: Side
    theirs: Side
    higher: bool = True
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def met(self) -> bool:
        """Whether the goal is reached."""
        return self.ratio >= self.goal if self.higher else self.ratio <= self.goal

    def as_json(self, machine: dict[str, Any]) -> str:
        """The line that is printed."""
        shown = {
            "name": self.name, "ratio": _short(self.ratio), "goal": self.goal, "met": self.met,
            "better": "higher" if self.higher else "lower", "against": self.against, "n": self.n,
            "ours": _shown(self.ours), "theirs": _shown(self.theirs), **self.more, "machine": machine,
        }  # fmt: skip
        return json.dumps(shown, ensure_ascii=False)


def alternate(rounds: int, ours: Callable[[int], float], theirs: Callable[[int], float]) -> list[tuple[float, float]]:
    """Runs ours, theirs, ours, theirs ... and gives each round's two values; round 0 warms up and is left out."""
    pairs = [(ours(number), theirs(number)) for number in range(rounds + 1)]
    return pairs[1:]


def compare(pairs: Sequence[tuple[float, float]], *, unit: str) -> tuple[float, Side, Side]:
    """The median of the rounds' ratios, and both sides with their medians. A round is one pair of rates."""
    ours, theirs = zip(*pairs, strict=True)
    ratio = statistics.median(a / b for a, b in pairs)
    return ratio, _side(ours, unit), _side(theirs, unit)


def cpu(ours: float, theirs: float, *, n: int) -> dict[str, Any]:
    """Processor time a thing, for a reader whose machine was busy: waiting for others is not in it.

    `ours` and `theirs` are seconds for `n` things each; `cpu_ratio` is theirs / ours.
    """
    return {
        "cpu_ratio": _short(theirs / ours if ours else 0.0),
        "cpu_ms": {"ours": _short(ours / n * 1000), "theirs": _short(theirs / n * 1000)},
    }


def machine() -> dict[str, Any]:
    """What a reader must know to compare: cores, versions, how busy it is, what a durable write costs."""
    return {
        "cores": os.cpu_count(), "kind": platform.machine(), "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version, "load_1min": round(os.getloadavg()[0], 2),
        "fdatasync_ms": round(_fdatasync_ms(Path(tempfile.gettempdir())), 3),
    }  # fmt: skip


def _fdatasync_ms(folder: Path, *, times: int = 60) -> float:
    taken = []
    with tempfile.TemporaryFile(dir=folder) as file:
        for _ in range(times):
            file.write(b"x" * 4096)
            file.flush()
            began = time.perf_counter()
            os.fsync(file.fileno())
            taken.append(time.perf_counter() - began)
    return statistics.median(taken) * 1000


def _side(values: Sequence[float], unit: str) -> Side:
    return Side(statistics.median(values), unit, tuple(values))


def _shown(side: Side) -> dict[str, Any]:
    return asdict(side) | {"value": _short(side.value), "rounds": [_short(one) for one in side.rounds]}


def _short(value: float) -> float:
    return round(value, 3 if abs(value) < 10 else 1)

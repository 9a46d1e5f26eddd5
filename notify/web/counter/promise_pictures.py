"""The pictures of how promises were kept: what is drawn, and the same in words and as a table."""

from __future__ import annotations

from statistics import median

from notify.flows.view_promises import Line, Losses, Report
from notify.render.bench_charts import ChartWords
from notify.render.promise_charts import Dot, draw_dots, draw_drift, draw_pits
from notify.web.counter import desk_words as d

MOST_DOTS, MOST_VALUES, TOLD = 400, 200, 10
_DAYS_FROM = 24.0  # hours: where half the promises are longer, they are drawn in days
_PITS = ChartWords("devices ready in each tenth of their forecast", "dashed: a fair forecast", "of 100 in the forecast")
_DRIFT = ChartWords("kept, of 100, the newest counting most", "dashed: limits of chance; triangle: beyond",
                    "promises, the newest at the right")  # fmt: skip
# How late one was, in hours: up to so much, and how that is said.
_STEPS = (
    (-24.0, "more than a day early"), (-1.0, "an hour to a day early"), (0.0, "in time, within an hour"),
    (1.0, "up to an hour late"), (24.0, "an hour to a day late"), (float("inf"), "more than a day late"),
)  # fmt: skip


def dots(seen: Report, *, dark: bool) -> bytes:
    """Promised against actual, of the newest promises."""
    lines = seen.lines[-MOST_DOTS:]
    unit = _unit(lines)
    found = [_dot(line, seen, 3600 * (24 if unit == "days" else 1)) for line in lines]
    words = ChartWords(f"ready after so many {unit}", "triangle: late; cross: not ready yet",
                       f"promised after so many {unit}")  # fmt: skip
    return draw_dots(found, words=words, dark=dark)


def pits(seen: Report, *, dark: bool) -> bytes:
    """Where ready times fell in their forecasts."""
    return draw_pits(seen.losses.pits if seen.losses else (0,) * 10, words=_PITS, dark=dark)


def drift(seen: Report, *, dark: bool) -> bytes:
    """The moving share of kept promises."""
    moving = seen.drift
    return draw_drift(moving.values[-MOST_VALUES:], start=moving.start, low=moving.low, high=moving.high, words=_DRIFT,
                      dark=dark)  # fmt: skip


def dots_in_words(seen: Report) -> str:
    """The picture of promised against actual for whoever does not see it."""
    told = (f"{number} {how}" for how, number in lateness(seen))
    return f"Each promise as a dot, promised time against ready time: {d.joined(told) or 'none yet'}."


def pits_in_words(found: Losses | None) -> str:
    """The histogram in words."""
    told = d.joined(str(count) for count in found.pits) if found else "none yet"
    return f"Devices ready in each tenth of their forecast, from the earliest: {told}."


def drift_in_words(seen: Report) -> str:
    """The moving share in words."""
    if not seen.drift.values:
        return "No promise has come due yet."
    known, moving = [round(100 * value) for value in seen.drift.values[-MOST_VALUES:]], seen.drift
    return (
        f"Kept of 100, the newest counting most: {known[-1]} now, between {min(known)} and {max(known)} in all. Limits "
        f"of chance: {round(100 * moving.low)} and {round(100 * moving.high)}."
    )


def lateness(seen: Report) -> list[tuple[str, int]]:
    """(how early or late, how many); of those not ready yet, how late they are by now."""
    counts = dict.fromkeys((words for _, words in _STEPS), 0)
    for line in seen.lines:
        late = ((line.ready_at or seen.now) - line.promise_at).total_seconds() / 3600
        counts[next(words for most, words in _STEPS if late <= most)] += 1
    return [(words, number) for words, number in counts.items() if number]


def newest(seen: Report) -> list[tuple[str, str]]:
    """(how many promises ago, moving share of 100) of the newest ones."""
    values = seen.drift.values[-TOLD:]
    return [(str(len(values) - 1 - at), f"{100 * value:.0f}") for at, value in enumerate(values)]


def _unit(lines: tuple[Line, ...]) -> str:
    hours = [(line.promise_at - line.made_at).total_seconds() / 3600 for line in lines]
    return "days" if hours and median(hours) > _DAYS_FROM else "hours"


def _dot(line: Line, seen: Report, seconds: int) -> Dot:
    ended = line.ready_at or seen.now
    promised, taken = (max(0.0, (at - line.made_at).total_seconds()) / seconds for at in (line.promise_at, ended))
    return Dot(promised, taken, waits=line.ready_at is None)

"""Time at the bench: instants turned into seconds of work and back, exactly, over clock changes as well.

An axis holds the spans in which somebody works. `work` counts the seconds of work up to an instant. It has two
inverses: work that ends with the last second of a span is finished at closing (`finish`), work that begins there begins
at the next opening (`start`). All instants are seconds since 1970 UTC, so that no clock change comes in between.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from notify.core.absences import present
from notify.core.hours import Counter, open_spans
from notify.core.instants import local

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]
    Ints = np.ndarray[Any, np.dtype[np.intp]]

HORIZON = 120  # days that are looked at; what ends later cannot be promised
_APART = 2.0**31  # 68 years, further than any axis is long; instants keep microseconds beside it


@dataclass(frozen=True, slots=True)
class Axis:
    """One calendar of work: `spans` sorted, not overlapping, those that touch joined. Make one with `Axis.of`."""

    spans: tuple[tuple[float, float], ...]
    opens: Array = field(repr=False, compare=False)
    closes: Array = field(repr=False, compare=False)
    worked: Array = field(repr=False, compare=False)  # seconds of work at the end of each span, after a first 0

    @classmethod
    def of(cls, spans: Sequence[tuple[float, float]]) -> Axis:
        """The axis of those spans (opens, closes); empty ones are left out. Raises ValueError if they are no calendar.

        No span at all is an axis on which nothing is ever done.
        """
        import numpy as np

        held = _joined(spans)
        opens, closes = (np.array([span[side] for span in held], dtype=float) for side in (0, 1))
        return cls(held, opens, closes, np.concatenate(([0.0], np.cumsum(closes - opens))))

    @property
    def total(self) -> float:
        """All the seconds of work that it has."""
        return float(self.worked[-1])

    @property
    def end(self) -> float:
        """When its last span closes; minus infinity without one."""
        return self.spans[-1][1] if self.spans else -math.inf

    def work(self, instants: Array | float) -> Array:
        """The seconds of work before each instant: 0 before the first opening, `total` after the last closing."""
        import numpy as np

        at = np.asarray(instants, dtype=float)
        if not self.spans:
            return np.zeros_like(at)
        span = np.maximum(np.searchsorted(self.opens, at, side="right") - 1, 0)
        return np.asarray(self.worked[span] + np.clip(at - self.opens[span], 0.0, (self.closes - self.opens)[span]))

    def finish(self, work: Array | float) -> Array:
        """When that much work is done, at closing rather than at the next opening; infinite beyond the end.

        Nothing is done before the first opening, so `finish(0)` is that one.
        """
        return self._instants(work, "left")

    def start(self, work: Array | float) -> Array:
        """When work after that much begins, at the next opening rather than at closing; infinite at the end."""
        return self._instants(work, "right")

    def _instants(self, work: Array | float, side: Any) -> Array:
        import numpy as np

        done = np.maximum(np.asarray(work, dtype=float), 0.0)
        moved = np.append(self.opens - self.worked[:-1], np.inf)  # beyond the last span lies never
        return np.asarray(moved[np.searchsorted(self.worked[1:], done, side=side)] + done)


def axis_of(
    counter: Counter, now: datetime, *, away: Sequence[tuple[float, float]] = (), back: int = 1, days: int = HORIZON
) -> Axis:
    """The opening hours from so many days before `now` to so many after it, without the times (instants, in any order)
    somebody is away.
    """
    today = local(now, counter.zone).date()
    spans = open_spans(counter, today - timedelta(days=back), today + timedelta(days=days))
    return Axis.of(present([(span.start_utc.timestamp(), span.end_utc.timestamp()) for span in spans], away))


@dataclass(frozen=True, slots=True)
class Axes:
    """Several axes end to end in one table, so that one look serves people with different hours. `Axes.of` makes it."""

    zero: float
    opens: Array = field(repr=False)
    closes: Array = field(repr=False)
    before: Array = field(repr=False)
    after: Array = field(repr=False)
    stops: Ints = field(repr=False)

    @classmethod
    def of(cls, axes: Sequence[Axis]) -> Axes:
        """Those axes; instants are held relative to the first opening of all."""
        import numpy as np

        zero = min((axis.spans[0][0] for axis in axes if axis.spans), default=0.0)
        spans = [len(axis.spans) for axis in axes]
        # The row at the end belongs to nobody; it is there so that the table is never empty.
        apart = np.repeat(np.arange(len(axes) + 1) * _APART, [*spans, 1])

        def told(columns: Sequence[Array]) -> Array:
            return np.asarray(np.concatenate([*columns, [0.0]]) + apart)

        return cls(
            zero,
            told([axis.opens - zero for axis in axes]),
            told([axis.closes - zero for axis in axes]),
            told([axis.worked[:-1] for axis in axes]),
            told([axis.worked[1:] for axis in axes]),
            np.cumsum(spans),
        )

    def begin(self, who: Ints | int, instants: Array) -> Array:
        """The first instant from each one on in which that axis (by its number) has work; infinite without one."""
        import numpy as np

        at = np.clip(instants - self.zero, -_APART / 4, _APART / 4) + np.multiply(who, _APART)
        span, late = self._span(self.closes, at, who, "right")
        begun = np.maximum(at, self.opens[span]) - np.multiply(who, _APART) + self.zero
        return np.where(late, np.inf, begun)

    def end(self, who: Ints | int, begun: Array, seconds: Array) -> Array:
        """When work of that many seconds is done that `begin` at those instants; infinite beyond the end."""
        import numpy as np

        at = np.clip(begun - self.zero, -_APART / 4, _APART / 4) + np.multiply(who, _APART)
        span, never = self._span(self.closes, at, who, "right")
        done = self.before[span] + (at - self.opens[span]) + np.minimum(seconds, _APART / 4)
        span, late = self._span(self.after, done, who, "left")
        ended = self.opens[span] + (done - self.before[span]) - np.multiply(who, _APART) + self.zero
        return np.where(never | late, np.inf, ended)

    def _span(self, table: Array, at: Array, who: Ints | int, side: Any) -> tuple[Ints, Any]:
        import numpy as np

        span = np.searchsorted(table, at, side=side)
        late = span >= self.stops[who]
        return np.where(late, 0, span), late


def _joined(spans: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    held: list[tuple[float, float]] = []
    for opens, closes in spans:
        if not (math.isfinite(opens) and math.isfinite(closes)) or closes < opens:
            raise ValueError(f"a span from {opens} to {closes} is none: give its two instants in order")
        if held and opens < held[-1][1]:
            raise ValueError(f"the span from {opens} begins before the one ahead ends: give them sorted and apart")
        if held and opens == held[-1][1]:
            held[-1] = (held[-1][0], closes)
        elif opens < closes:
            held.append((float(opens), float(closes)))
    return tuple(held)

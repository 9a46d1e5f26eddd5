"""Open time as one line: where an instant lies on it, from 0 (now) to 1, and where the shop shuts in between.

A job grows only while the shop is open, so nights would be empty paper: they are left out, and marked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notify.core.hours import Counter, Span, open_spans
from notify.core.instants import zone

MOST_DAYS = 4  # open days on one line; what is ready later is said in words, and the line ends with an arrow
_FAR = timedelta(days=40)
Stretch = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Ruler:
    """Open stretches in order, none overlapping; empty when the shop does not open soon."""

    open: tuple[Stretch, ...]
    zone: str

    @property
    def end(self) -> datetime | None:
        """Where the line ends: a closing."""
        return self.open[-1][1] if self.open else None

    def place(self, at: datetime) -> float:
        """Where an instant lies, 0 to 1: a night is at the closing before it, what is outside at the nearer end."""
        done = sum((min(end, at) - start for start, end in self.open if at > start), timedelta(0))
        return done / self._whole() if self.open else 0.0

    def shuts(self) -> tuple[float, ...]:
        """The places at which it shuts and opens again."""
        return tuple(self.place(end) for _, end in self.open[:-1])

    def days(self) -> tuple[tuple[float, datetime], ...]:
        """Each day's first open instant on the line, and its place."""
        seen: dict[date, datetime] = {}
        for start, _ in self.open:
            seen.setdefault(start.astimezone(zone(self.zone)).date(), start)
        return tuple((self.place(start), start) for start in seen.values())

    def _whole(self) -> timedelta:
        return sum((end - start for start, end in self.open), timedelta(0))


def ruler(counter: Counter, now: datetime, reach: Iterable[datetime], *, most_days: int = MOST_DAYS) -> Ruler:
    """From now until the closing of the day in which the last of `reach` lies, at most so many open days."""
    today = now.astimezone(zone(counter.zone)).date()
    last = max(reach, default=now)
    spans = [span for span in open_spans(counter, today, today + _FAR) if span.end_utc > now]
    kept = _enough(spans, _dates(spans, counter)[:most_days], counter, last)
    return Ruler(tuple((max(span.start_utc, now), span.end_utc) for span in kept), counter.zone)


def _dates(spans: Sequence[Span], counter: Counter) -> list[date]:
    return list(dict.fromkeys(_date(span, counter) for span in spans))


def _date(span: Span, counter: Counter) -> date:
    return span.start_utc.astimezone(zone(counter.zone)).date()


def _enough(spans: Sequence[Span], days: Sequence[date], counter: Counter, last: datetime) -> list[Span]:
    until = next((day for day in days if any(_date(s, counter) == day and s.end_utc >= last for s in spans)), None)
    wanted = days if until is None else days[: days.index(until) + 1]
    return [span for span in spans if _date(span, counter) in wanted]

"""A ticket's story as it is recorded, by hand: for rules that read stories."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from notify.core.events import Event
from notify.core.hours import Counter, Hours

DAY = datetime(2026, 11, 25, tzinfo=UTC)  # a Wednesday; the clock of London is UTC
COUNTER = Counter("Europe/London", tuple(Hours(n, time(9), time(18), 1, date(2026, 1, 1)) for n in range(5)))


def at(clock: str, days: int = 0) -> datetime:
    """That time of the day, or so many days later."""
    hour, minute, *second = map(int, clock.split(":"))
    return DAY + timedelta(days=days, hours=hour, minutes=minute, seconds=second[0] if second else 0)


@dataclass
class Told:
    """The events of one ticket so far, and the phase that it is in."""

    events: list[Event] = field(default_factory=list)
    phase: str = "in_line"

    def note(self, kind: str, when: datetime, **codes: str | int) -> str:
        """Adds an event; its identifier."""
        name = f"e{len(self.events)}"
        self.events.append(Event(name, kind, when, "v", "t", codes=codes))
        return name

    def move(self, kind: str, to: str, when: datetime) -> str:
        """Adds a move; its identifier."""
        came, self.phase = self.phase, to
        return self.note(kind, when, **{"from": came, "to": to})

    def undo(self, event: str, back: str, when: datetime) -> None:
        """Takes a move back."""
        self.note("corrected", when, undoes=event, to=back, **{"from": self.phase})
        self.phase = back

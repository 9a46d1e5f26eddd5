"""How many messages are claimed at once: as many as leave within about a second of the second look."""

from __future__ import annotations

from dataclasses import dataclass

LEAST, MOST = 10, 50  # more than fifty at once saves nothing more (measured)
SOON = 1.0  # seconds; what is looked at again should leave about then


@dataclass(slots=True)
class Pace:
    """Grows while batches are full and quick, shrinks when one took long."""

    size: int = LEAST

    def note(self, claimed: int, seconds: float) -> None:
        """Learns from a batch: how many were claimed, and how long it took until all were settled."""
        if seconds > SOON:
            self.size = max(LEAST, self.size // 2)
        elif claimed == self.size:
            self.size = min(MOST, self.size * 2)

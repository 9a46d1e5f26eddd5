"""A clock that stands still until a test moves it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

# A Wednesday morning in the harbour town, outside any clock change.
START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


class FakeClock:
    """Call it to get the aware UTC instant; it hands out the same one until it is moved."""

    def __init__(self, now: datetime = START) -> None:
        self.set(now)

    def __call__(self) -> datetime:
        return self._now

    def set(self, now: datetime) -> None:
        """Jump to an aware instant, forwards or backwards."""
        if now.tzinfo is None:
            raise ValueError("the clock needs an aware datetime")
        self._now = now.astimezone(UTC)

    def advance(self, seconds: float) -> datetime:
        """Move by so many seconds (negative: the clock is set back) and return the new instant."""
        self._now += timedelta(seconds=seconds)
        return self._now

"""Pure rules of when a job is due: on a grid of minutes, or each night by the shop's own clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from notify.core.instants import instant, zone

_GRID = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Every:
    """Once in each whole stretch of so many seconds; stretches slept through are not made up for."""

    seconds: int


@dataclass(frozen=True, slots=True)
class Nightly:
    """Once a day at the installation's hour of forgetting, by the shop's wall clock."""


When = Every | Nightly


def last_due(when: When, now: datetime, *, zone_name: str, nightly_at: time) -> datetime:
    """The newest instant, not after `now` (aware), at which the job was due."""
    if isinstance(when, Every):
        step = timedelta(seconds=when.seconds)
        return _GRID + (now - _GRID) // step * step
    tz = zone(zone_name)
    today = now.astimezone(tz).date()
    nights = (instant(datetime.combine(today - timedelta(days=back), nightly_at), tz) for back in range(3))
    return next(night for night in nights if night <= now)

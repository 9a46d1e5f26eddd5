"""Quiet hours: the first instant at which every zone the reader may be in is awake."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from notify.core.errors import Invalid
from notify.core.instants import instant, jump_between, need_aware, zone

_HOUR = timedelta(hours=1)
_DAY = timedelta(days=1)
_PATIENCE = timedelta(days=8)


def allowed_at(now: datetime, *, zones: Sequence[str], quiet_from: time, quiet_until: time) -> datetime:
    """First instant (UTC) at or after `now` outside [quiet_from, quiet_until) on every zone's wall clock.

    At each instant the wall clock is judged in every zone, so a skipped hour ends the quiet early and a
    repeated hour can be quiet twice. Equal times mean no quiet hours. The usual window, 21:00 to 08:00,
    is that of 47 CFR 64.1200(c)(1). Raises Invalid for a naive time, a bad zone, no zone, or zones so far
    apart that no hour is allowed in all of them.
    """
    moment = start = need_aware(now)
    if not zones:
        raise Invalid("No time zone was given to judge quiet hours in", "Give at least the shop's own.")
    places = [zone(name) for name in zones]
    if quiet_from == quiet_until:
        return start
    while moment - start < _PATIENCE:
        latest = max(_awake(moment, tz, quiet_from, quiet_until) for tz in places)
        if latest == moment:
            return moment
        moment = latest
    raise Invalid(
        f"No hour of the day is outside the quiet hours in all of {', '.join(zones)}",
        "Shorten the quiet hours, or give fewer zones.",
    )


def _awake(moment: datetime, tz: ZoneInfo, quiet_from: time, quiet_until: time) -> datetime:
    """First instant at or after `moment` that is not quiet in this one zone."""
    if not _is_quiet(moment, tz, quiet_from, quiet_until):
        return moment
    ends = sorted({*_wall_hits(moment, tz, quiet_until), *_clock_changes(moment, tz)})
    return next(end for end in ends if end > moment and not _is_quiet(end, tz, quiet_from, quiet_until))


def _is_quiet(moment: datetime, tz: ZoneInfo, quiet_from: time, quiet_until: time) -> bool:
    clock = moment.astimezone(tz).time()
    if quiet_from < quiet_until:
        return quiet_from <= clock < quiet_until
    return clock >= quiet_from or clock < quiet_until


def _wall_hits(moment: datetime, tz: ZoneInfo, clock: time) -> Iterator[datetime]:
    today = moment.astimezone(tz).date()
    for ahead in range(3):
        wall = datetime.combine(today + ahead * _DAY, clock)
        yield instant(wall, tz, fold=0)
        yield instant(wall, tz, fold=1)


def _clock_changes(moment: datetime, tz: ZoneInfo) -> Iterator[datetime]:
    """Instants within the next two days at which the zone's offset changes."""
    for step in range(48):
        early, late = moment + step * _HOUR, moment + (step + 1) * _HOUR
        if early.astimezone(tz).utcoffset() != late.astimezone(tz).utcoffset():
            yield jump_between(early, late, tz)

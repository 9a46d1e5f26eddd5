"""When a pickup is reminded of: so long before it, at an hour at which people may be written to, or not at all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from notify.core.instants import need_aware, zone
from notify.core.telling_hours import Week

# All of these are common practice, no source.
SETTLED = timedelta(hours=1)  # whoever chose a time this shortly before the reminder needs none
SLACK = timedelta(hours=1)  # so long before the quiet of an evening begins, for a mail server that is down a while
AT_LEAST = timedelta(minutes=30)  # a reminder later than this before the slot is of no use
LOOK_BACK = timedelta(hours=36)  # the evening before, also over a short day
_STEP = timedelta(minutes=15)
Awake = Callable[[datetime], bool]


def awake_in(zones: Sequence[str], week: Week) -> Awake:
    """Whether an instant is a decent one on the wall clock of every zone. Raises Invalid for a bad zone."""
    places = [zone(name) for name in zones]
    return lambda moment: all(week.is_awake(moment.astimezone(tz)) for tz in places)


def remind_at(start: datetime, *, ahead: timedelta, changed: datetime, awake: Awake) -> datetime | None:
    """The instant (UTC) at which a pickup that begins at `start` is reminded of; None when it is not.

    `ahead` before it, counted in real hours, if that is a decent hour. Else at the first decent one after, while half
    of `ahead` is left; else in the evening before; else as late as is of use. `changed` is when the time was chosen:
    what was chosen shortly before such an instant makes that one needless.
    """
    wanted, known = need_aware(start) - ahead, need_aware(changed) + SETTLED
    return next((moment for moment in _moments(wanted, start, ahead, awake) if moment >= known), None)


def _moments(wanted: datetime, start: datetime, ahead: timedelta, awake: Awake) -> tuple[datetime, ...]:
    """The instants that come into question, the best one first."""
    if awake(wanted):
        return (wanted,)
    later, evening = _next(wanted, start, awake), _evening_before(wanted, awake)
    whole = [moment for moment in (later, evening) if moment is not None]
    if later is not None and start - later < ahead / 2:
        whole.reverse()
    return tuple(whole)


def _next(wanted: datetime, start: datetime, awake: Awake) -> datetime | None:
    """The first decent quarter of an hour after `wanted` that is still of use before `start`."""
    return next((at for at in _steps(wanted, start - AT_LEAST, _STEP) if awake(at)), None)


def _evening_before(wanted: datetime, awake: Awake) -> datetime | None:
    """The last quarter of an hour before `wanted` after which it stays decent for a while."""
    backwards = _steps(wanted, wanted - LOOK_BACK, -_STEP)
    return next((at for at in backwards if awake(at) and awake(at + SLACK - _STEP)), None)


def _steps(first: datetime, last: datetime, step: timedelta) -> tuple[datetime, ...]:
    """The instants from `first` to `last`, both included where they fall on a step."""
    number = (last - first) // step
    return tuple(first + i * step for i in range(number + 1))

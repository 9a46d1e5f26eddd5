"""Decent hours: the first instant at which somebody may be written to, wherever they may be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from notify.core.errors import Invalid
from notify.core.instants import instant, jump_between, need_aware, zone
from notify.core.telling_hours import Week, week_around

_DAY = timedelta(days=1)
_STEP = timedelta(hours=6)  # no zone has changed its clock twice within so short a time
_PATIENCE = timedelta(days=9)  # a whole week, and more than a day for zones on either side of the date line


@dataclass(frozen=True, slots=True)
class Decent:
    """When somebody may be written to (UTC), and why then.

    `how`: "" = now; "shop" = the shop's own zone decides; "everywhere" = a zone that the number may be in decides;
    "mostly" = no hour suits every such zone, so it is the one that suits most of them while the shop is awake.
    """

    at: datetime
    how: str


def decent_at(now: datetime, *, shop_zone: str, other_zones: Sequence[str], week: Week) -> Decent:
    """The first decent instant at or after `now`, judged on the shop's wall clock and in every other zone."""
    moment = need_aware(now)
    places = [zone(shop_zone), *map(zone, other_zones)]
    if all(week.is_awake(moment.astimezone(tz)) for tz in places):
        return Decent(moment, "")
    home = first_awake(moment, [shop_zone], week)
    others = _apart([name for name in other_zones if name != shop_zone], moment)
    places = [places[0], *map(zone, others)]
    try:
        everywhere = first_awake(moment, [shop_zone, *others], week) if others else home
    except Invalid:
        return Decent(_mostly(home, places, week), "mostly")
    return Decent(everywhere, "shop" if everywhere == home else "everywhere")


def _apart(names: Sequence[str], moment: datetime) -> list[str]:
    """One name of each clock: of forty zones of a continent, a dozen show different times in the days to come."""
    days = [moment + ahead * _DAY for ahead in range(_PATIENCE.days + 1)]
    clocks = {tuple(day.astimezone(zone(name)).utcoffset() for day in days): name for name in reversed(names)}
    return sorted(clocks.values())


def _mostly(home: datetime, places: Sequence[ZoneInfo], week: Week) -> datetime:
    """Of the day that begins when the shop wakes: the first instant at which most zones are awake, the shop too."""
    edges = {at for tz in places for at in _wakings(home, tz, week) if at < home + _DAY}
    awake = [at for at in sorted({home, *edges}) if week.is_awake(at.astimezone(places[0]))]
    return max(awake, key=lambda at: sum(week.is_awake(at.astimezone(tz)) for tz in places))


def allowed_at(now: datetime, *, zones: Sequence[str], quiet_from: time, quiet_until: time) -> datetime:
    """First instant (UTC) at or after `now` outside [quiet_from, quiet_until) on every zone's wall clock.

    Equal times mean no quiet hours. The usual window, 21:00 to 08:00, is that of 47 CFR 64.1200(c)(1). Raises as
    first_awake does.
    """
    return first_awake(now, zones, week_around(quiet_from, quiet_until))


def first_awake(now: datetime, zones: Sequence[str], week: Week) -> datetime:
    """First instant (UTC) at or after `now` that `week` allows on every zone's wall clock.

    At each instant the wall clock is judged in every zone, so a skipped hour ends the quiet early and a
    repeated hour can be quiet twice. Raises Invalid for a naive time, a bad zone, no zone, or zones so far
    apart that no hour is allowed in all of them.
    """
    moment = start = need_aware(now)
    if not zones:
        raise Invalid("No time zone was given to judge quiet hours in", "Give at least the shop's own.")
    places = [zone(name) for name in zones]
    while moment - start < _PATIENCE:
        latest = max(_awake(moment, tz, week) for tz in places)
        if latest == moment:
            return moment
        moment = latest
    raise Invalid(
        f"No hour of the day is outside the quiet hours in all of {', '.join(zones)}",
        "Shorten the quiet hours, or give fewer zones.",
    )


def _awake(moment: datetime, tz: ZoneInfo, week: Week) -> datetime:
    """First instant at or after `moment` that is awake in this one zone; the end of patience when there is none."""
    if week.is_awake(moment.astimezone(tz)):
        return moment
    return min(_wakings(moment, tz, week), default=moment + _PATIENCE)


def _wakings(moment: datetime, tz: ZoneInfo, week: Week) -> Iterator[datetime]:
    """Instants after `moment` and within nine days at which this zone may wake, and is awake then."""
    for at in (*_wall_hits(moment, tz, week), *_clock_changes(moment, tz)):
        if at > moment and week.is_awake(at.astimezone(tz)):
            yield at


def _wall_hits(moment: datetime, tz: ZoneInfo, week: Week) -> Iterator[datetime]:
    today = moment.astimezone(tz).date()
    for ahead in range(9):
        day = today + ahead * _DAY
        for clock in week.starts(day.weekday()):
            wall = datetime.combine(day, clock)
            yield instant(wall, tz, fold=0)
            yield instant(wall, tz, fold=1)


def _clock_changes(moment: datetime, tz: ZoneInfo) -> Iterator[datetime]:
    """Instants within the next nine days at which the zone's offset changes."""
    for step in range(9 * 4):
        early, late = moment + step * _STEP, moment + (step + 1) * _STEP
        if early.astimezone(tz).utcoffset() != late.astimezone(tz).utcoffset():
            yield jump_between(early, late, tz)

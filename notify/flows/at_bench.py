"""Who repairs here, and when one of them is not here: forecasts follow. Never why somebody is away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notify.core.absences import check_period, days_without, parse_bound
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid
from notify.core.hours import open_spans
from notify.core.instants import first_instant, zone
from notify.flows.context import Context
from notify.forecast.ready import MOST_PEOPLE
from notify.store import absences, forecast_facts, shops, staff
from notify.store.database import Unit

KEPT_FOR = timedelta(days=30)  # after its end an absence is deleted; our choice, no law names a figure
MOST_ABSENCES = 50  # of one person, still to come


@dataclass(frozen=True, slots=True)
class Empty:
    """Open days on which nobody is at the bench, and how many promises of devices in work fall on them."""

    days: tuple[date, ...]
    promises: int


@dataclass(frozen=True, slots=True)
class Noted:
    """An absence that was noted, and what it leaves empty."""

    absence_id: str
    starts_at: datetime
    ends_at: datetime
    empty: Empty


def set_bench(ctx: Context, actor: Actor, staff_id: str, *, repairs: bool) -> int:
    """Says whether somebody repairs devices; how many people do now. Raises Conflict beyond the engine's limit."""
    actor.need("staff")
    with ctx.db.write(actor.shop_id) as unit:
        row = staff.get_staff(unit, staff_id)
        if not row.active:
            raise Invalid(f"{row.name} does not work here any more", "Take them on again first.", field="name")
        if repairs and not row.at_bench and is_full(unit):
            raise Conflict(
                f"Forecasts reckon with up to {MOST_PEOPLE} people at the bench", "Take somebody off it first.",
                field="repairs",
            )  # fmt: skip
        if repairs != row.at_bench:
            staff.change_staff(unit, staff_id, at_bench=repairs)
        return len(forecast_facts.at_bench(unit))


def is_full(unit: Unit) -> bool:
    """Whether as many people are at the bench as forecasts reckon with."""
    return len(forecast_facts.at_bench(unit)) >= MOST_PEOPLE


def note_away(ctx: Context, actor: Actor, staff_id: str, starts: str, ends: str) -> Noted:
    """Notes an absence, typed as core/absences.parse_bound takes it. One's own is everybody's to note, all the owner's.

    Absences may overlap. Raises Invalid (`from`, `until`) for a past one and for what cannot be meant; Conflict.
    """
    actor.need("look" if actor.id == staff_id else "staff")
    with ctx.db.write(actor.shop_id) as unit:
        row, shop, now = staff.get_staff(unit, staff_id), ctx.shop(unit), ctx.clock()
        first = parse_bound(starts, shop.zone, field="from")
        last = parse_bound(ends, shop.zone, field="until", last=True)
        check_period(first, last, now=now)
        if not row.active:
            raise Invalid(f"{row.name} does not work here any more", "Take them on again first.", field="name")
        theirs = [one for one in absences.list_absences(unit, after=now) if one.staff_id == staff_id]
        if len(theirs) >= MOST_ABSENCES:
            raise Conflict(f"{row.name} has {MOST_ABSENCES} absences to come", "Take one back.", field="from")
        new = absences.add_absence(unit, staff_id=staff_id, starts_at=first, ends_at=last)
        empty = empty_within(ctx, unit, max(first, now), last) if row.at_bench else Empty((), 0)
        return Noted(new, first, last, empty)


def come_back(ctx: Context, actor: Actor, absence_id: str) -> None:
    """Lets a running absence end now, and takes back one to come. Raises NotFound."""
    with ctx.db.write(actor.shop_id) as unit:
        one = absences.get_absence(unit, absence_id)
        actor.need("look" if actor.id == one.staff_id else "staff")
        absences.end_absence(unit, one.id, at=ctx.clock())


def come_back_on(ctx: Context, actor: Actor, staff_id: str, day: str = "") -> int:
    """The same for every absence of somebody that touches that day, or that runs now; how many.

    Raises Conflict when there is none.
    """
    actor.need("look" if actor.id == staff_id else "staff")
    with ctx.db.write(actor.shop_id) as unit:
        now, shop, row = ctx.clock(), ctx.shop(unit), staff.get_staff(unit, staff_id)
        first = parse_bound(day, shop.zone, field="day") if day.strip() else now
        last = parse_bound(day, shop.zone, field="day", last=True) if day.strip() else now + timedelta(microseconds=1)
        found = [
            one for one in absences.list_absences(unit, after=max(now, first))
            if one.staff_id == staff_id and one.starts_at < last
        ]  # fmt: skip
        if not found:
            raise Conflict(f"{row.name} is not away then", "`shelfbell staff list` says when they are.", field="day")
        for one in found:
            absences.end_absence(unit, one.id, at=now)
        return len(found)


def tidy(ctx: Context, actor: Actor) -> int:
    """Deletes absences that have long been over, for they are data about staff; how many."""
    with ctx.db.write(actor.shop_id) as unit:
        return absences.purge_absences(unit, before=ctx.clock() - KEPT_FOR)


def empty_within(ctx: Context, unit: Unit, first: datetime, last: datetime) -> Empty:
    """The open days from one instant to another on which nobody is at the bench, and the promises on them.

    A day that has begun counts by what is left of it.
    """
    shop = ctx.shop(unit)
    tz = zone(shop.zone)
    days = days_without(_open(ctx, unit, first, last), _gaps(unit, ctx.clock()), shop.zone)
    promised = [at for at in forecast_facts.promises_in_work(unit).values() if at is not None]
    ends = [(first_instant(day, tz), first_instant(day + timedelta(days=1), tz)) for day in days]
    return Empty(days, sum(any(begins <= at < over for begins, over in ends) for at in promised))


def all_away(ctx: Context, unit: Unit, *, until: datetime) -> bool:
    """Whether there are open days up to then, and on none of them anybody at the bench."""
    now, zone_name = ctx.clock(), ctx.shop(unit).zone
    spans = _open(ctx, unit, now, until)
    return bool(spans) and days_without(spans, _gaps(unit, now), zone_name) == days_without(spans, (), zone_name)


def _open(ctx: Context, unit: Unit, first: datetime, last: datetime) -> list[tuple[datetime, datetime]]:
    """The open time of the days from one instant to another, what has passed left out."""
    shop, now = ctx.shop(unit), ctx.clock()
    begins, ends = (moment.astimezone(zone(shop.zone)).date() for moment in (first, last))
    spans = open_spans(shops.get_counter(unit, shop), begins, ends)
    return [(max(s.start_utc, now), s.end_utc) for s in spans if s.start_utc < last and s.end_utc > now]


def _gaps(unit: Unit, now: datetime) -> Sequence[Sequence[tuple[datetime, datetime]]]:
    """The absences of each person at the bench."""
    away = absences.list_absences(unit, after=now)
    return [
        [(one.starts_at, one.ends_at) for one in away if one.staff_id == who] for who in forecast_facts.at_bench(unit)
    ]

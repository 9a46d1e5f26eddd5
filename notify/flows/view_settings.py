"""What the settings page shows: the shop, its hours and days, who works here, suppliers, and what forgetting means."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta

from notify.core.actors import Actor
from notify.core.hours import Hours
from notify.core.shop import Shop
from notify.core.working_days import WEEKDAYS
from notify.flows.context import Context
from notify.flows.feeds import Feed, feeds_within
from notify.flows.keep_rules import RuleView, rules_within
from notify.flows.keeping import who_is_due
from notify.flows.view_staff import colleagues
from notify.store import shops
from notify.store.absences import Absence
from notify.store.database import Unit

YEAR = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class Day:
    """A closed day (`opens` None), one with special hours, or a holiday on which the shop is open `as_usual`."""

    id: str
    day: date
    opens: time | None
    closes: time | None
    capacity: int
    reason: str
    as_usual: bool


@dataclass(frozen=True, slots=True)
class Holiday:
    """A public holiday of the coming year; `is_closed` unless the shop's own list has something else for that day."""

    day: date
    name: str
    is_closed: bool


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who works here; `rings_by` is how the shop's bell rings for them, `email` and `phone` where, masked.

    `at_bench` says whether they repair, `away` when they are not here, now or to come.
    """

    id: str
    name: str
    role: str
    has_pin: bool
    rings_by: str
    email: str
    phone: str
    at_bench: bool
    away: tuple[Absence, ...]


@dataclass(frozen=True, slots=True)
class Supplier:
    """A supplier with its habits as in core/working_days; `zone` is empty where it is the shop's.

    `delays`: how often a parcel came on its day, or 1, 2, 3 working days later, or still later. `in_use`: parts name
    it, so it cannot be dropped.
    """

    id: str
    name: str
    cutoff: time | None
    delivers_at: time | None
    days: int
    in_use: bool
    zone: str = ""
    working_days: str = WEEKDAYS
    closed_days: tuple[str, ...] = ()
    holidays_of: str = ""
    redelivers: bool = False
    delays: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything on the page. `due` people would be forgotten tonight, `kept` though their time is over."""

    shop: Shop
    today: date
    hours: tuple[tuple[str, Hours], ...]
    days: tuple[Day, ...]
    holidays: tuple[Holiday, ...]
    holidays_silent: str
    people: tuple[Person, ...]
    suppliers: tuple[Supplier, ...]
    feeds: tuple[Feed, ...]
    due: int
    kept: int
    rules: tuple[RuleView, ...]


def view(ctx: Context, actor: Actor) -> Settings:
    """The shop as it is set; days that are past are left out."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        today = ctx.today(shop)
        due, kept = who_is_due(ctx, unit)
        return Settings(
            shop=shop, today=today, hours=shops.list_hours(unit),
            days=tuple(
                Day(i, row.day, row.opens, row.closes, row.capacity, why, row.as_usual)
                for i, row, why in shops.special_days(unit) if row.day >= today
            ),
            holidays=_holidays(unit, shop, today),
            holidays_silent=unit.almanac.why_silent() if shop.holidays_of else "",
            people=tuple(
                Person(one.id, one.name, one.role, one.has_pin, one.rings_by, one.email, one.phone,
                       one.at_bench, one.away)
                for one in colleagues(ctx, unit) if one.active
            ),
            suppliers=tuple(
                Supplier(row.id, row.name, row.cutoff, row.delivers_at, row.days,
                         shops.supplier_is_named(unit, row.id), row.zone, row.working_days, tuple(row.closed_days),
                         row.holidays_of, row.redelivers, tuple(row.delays))
                for row in shops.list_suppliers(unit)
            ),
            feeds=feeds_within(unit), due=len(due), kept=len(kept), rules=rules_within(ctx, unit),
        )  # fmt: skip


def _holidays(unit: Unit, shop: Shop, today: date) -> tuple[Holiday, ...]:
    """Those of the coming year, where the shop follows any."""
    if not shop.holidays_of:
        return ()
    own = {row.day for _, row, _ in shops.special_days(unit)}
    years = [unit.almanac.days(shop.holidays_of, year) for year in (today.year, today.year + 1)]
    named = sorted((day, name) for year in years for day, name in year.items() if today <= day < today + YEAR)
    return tuple(Holiday(day, name, day not in own) for day, name in named)

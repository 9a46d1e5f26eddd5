"""Who is to be forgotten, who stays and why, and when: the one place where rules, tickets and reasons meet."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from notify.core.durations import before, parse_duration
from notify.core.retention import Rule, ends_on, why_kept
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.store import keeping, retention, tickets
from notify.store.database import Unit
from notify.store.keeping import Candidate

# Adding a period clamps to the end of a month, so taking it off again may be some days early; never late.
_SLACK = timedelta(days=5)


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of one person. Identifiers, codes, days and figures only.

    `state`: "open" (a device is with us), "running" (goes on `goes_on`), "due" (goes tonight), "kept" (its time is
    over, and `reasons` keep it), "forgotten". `closed_on` is the day their last device went home.
    """

    person_id: str
    state: str
    closed_on: date | None = None
    goes_on: date | None = None
    reasons: tuple[str, ...] = ()


def shop_rules(ctx: Context, shop_id: str) -> Mapping[str, Rule]:
    """The rules that count in a shop today, by kind of data; for everybody to read."""
    with ctx.db.read(shop_id) as unit:
        return retention.rules(unit, ctx.today(ctx.shop(unit)))


def rule_of(ctx: Context, unit: Unit, data_class: str = "contact_card") -> Rule:
    """The rule that counts for one kind of data in this shop today."""
    return retention.rule(unit, data_class, ctx.today(ctx.shop(unit)))


def who_is_due(
    ctx: Context, unit: Unit, rule: Rule | None = None, *, on: date | None = None
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """The people to be forgotten now, and those whose time is over but who are kept, with the first reason.

    Under another `rule` than today's, or on another day, if given. Somebody is due from the shop's midnight on that
    begins the day on which their time is over.
    """
    shop = ctx.shop(unit)
    rule, today = rule or rule_of(ctx, unit), on or ctx.today(shop)
    ends = _reckoner(rule)
    found = keeping.candidates(unit, closed_by=_latest(rule, shop, today))
    over = [(one, why_kept(rule, one.reasons)) for one in found if ends(_wall_day(one.last_closed_at, shop)) <= today]
    due = tuple(one.person_id for one, why in over if not why)
    return due, tuple((one.person_id, why[0]) for one, why in over if why)


def delegates_due(ctx: Context, unit: Unit) -> tuple[str, ...]:
    """Whoever was named in a pass that ended longer ago than the shop keeps such names."""
    shop, rule = ctx.shop(unit), rule_of(ctx, unit, "delegate")
    today, ends = ctx.today(shop), _reckoner(rule)
    return tuple(
        person_id
        for person_id, ended_at, _ in keeping.delegates_ended(unit)
        if ends(_wall_day(ended_at, shop)) <= today
    )


def fate(ctx: Context, unit: Unit, person_id: str) -> Fate:
    """What becomes of one person, and why."""
    found = keeping.candidates(unit, person_id=person_id)
    return _fate(ctx, unit, found[0]) if found else Fate(person_id, "open")


def _fate(ctx: Context, unit: Unit, one: Candidate) -> Fate:
    shop, rule = ctx.shop(unit), rule_of(ctx, unit)
    closed = _wall_day(one.last_closed_at, shop)
    day, why = ends_on(rule, closed), why_kept(rule, one.reasons)
    over = "kept" if why else "due"
    return Fate(one.person_id, over if day <= ctx.today(shop) else "running", closed, day, why)


def forgets_on(ctx: Context, unit: Unit, visit_id: str) -> datetime | None:
    """The midnight at which whoever brought a visit is forgotten; None while one of its devices is with us."""
    shop = ctx.shop(unit)
    whole = tickets.tickets_of_visit(unit, visit_id)
    if not whole or tickets.is_device_with_us(unit, visit_id):
        return None
    last = max(ticket.phase_since for ticket in whole)
    return _midnight(ends_on(rule_of(ctx, unit), _wall_day(last, shop)), shop)


def _wall_day(at: datetime, shop: Shop) -> date:
    return at.astimezone(ZoneInfo(shop.zone)).date()


def _midnight(day: date, shop: Shop) -> datetime:
    """The instant at which that day begins on the shop's wall."""
    return datetime.combine(day, time(), ZoneInfo(shop.zone)).astimezone(UTC)


def _latest(rule: Rule, shop: Shop, today: date) -> datetime:
    """Nobody whose last device went home after this instant can be due yet: it spares reading them."""
    day = before(today, parse_duration(rule.period)) + _SLACK
    return _midnight(day, shop)


def _reckoner(rule: Rule) -> Callable[[date], date]:
    """`ends_on` by one rule; many people share few days."""
    return cache(lambda day: ends_on(rule, day))

"""Who is to be forgotten, who stays and why, and when: the one place where rules, tickets and reasons meet."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from notify.core.durations import before, parse_duration
from notify.core.retention import Rule, ends_on, why_kept
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.store import keeping, people, retention
from notify.store.database import Unit

# Adding a period clamps to the end of a month, so taking it off again may be some days early; never late.
_SLACK = timedelta(days=5)


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of one person. Identifiers, codes and days only.

    `state`: "open" (a device is with us, or a pass can be used), "running" (goes on `goes_on` unless `reasons` are
    there still), "due" (goes tonight), "kept" (its time is over, and `reasons` keep it), "forgotten". `closed_on` is
    the day their last device went home, or their pass ended: `data_class` says which rule counts.
    """

    person_id: str
    state: str
    data_class: str = "contact_card"
    closed_on: date | None = None
    goes_on: date | None = None
    reasons: tuple[str, ...] = ()


def rule_of(ctx: Context, unit: Unit, data_class: str = "contact_card") -> Rule:
    """The rule that counts for one kind of data in this shop today."""
    return retention.rule(unit, data_class, ctx.today(ctx.shop(unit)))


def who_is_due(
    ctx: Context, unit: Unit, rule: Rule | None = None, *, on: date | None = None, among: Collection[str] | None = None
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """The people to be forgotten now, and those whose time is over but who are kept, with the first reason.

    Under another `rule` than today's, on another day, or of these people only, if given. Somebody is due from the
    shop's midnight on that begins the day on which their time is over.
    """
    shop = ctx.shop(unit)
    rule, today = rule or rule_of(ctx, unit), on or ctx.today(shop)
    found = keeping.candidates(unit, closed_by=_latest(rule, shop, today), among=among)
    fates = [fate for fate in _fates_of(found, rule, shop, today) if fate.state in ("due", "kept")]
    due = tuple(fate.person_id for fate in fates if not fate.reasons)
    return due, tuple((fate.person_id, fate.reasons[0]) for fate in fates if fate.reasons)


def delegates_due(ctx: Context, unit: Unit) -> tuple[str, ...]:
    """Whoever was named in passes of which the last ended longer ago than the shop keeps such names."""
    return tuple(fate.person_id for fate in _delegates(ctx, unit) if fate.state == "due")


def fate(ctx: Context, unit: Unit, person_id: str) -> Fate:
    """What becomes of one person, and why."""
    if people.is_forgotten(unit, person_id):
        return Fate(person_id, "forgotten")
    found = _customers(ctx, unit, person_id) or _delegates(ctx, unit, person_id)
    if found:
        return found[0]
    why = why_kept(rule_of(ctx, unit), keeping.other_reasons(unit, person_id=person_id).get(person_id, ()))
    return Fate(person_id, "open", reasons=why)


def fates(ctx: Context, unit: Unit) -> tuple[Fate, ...]:
    """What becomes of everybody none of whose devices is here, and of whoever was named in a pass that has ended."""
    return (*_customers(ctx, unit), *_delegates(ctx, unit))


def fates_among(ctx: Context, unit: Unit, person_ids: Collection[str]) -> tuple[Fate, ...]:
    """What becomes of those of these people none of whose devices is here."""
    shop = ctx.shop(unit)
    found = keeping.candidates(unit, among=person_ids)
    return _fates_of(found, rule_of(ctx, unit), shop, ctx.today(shop))


def _customers(ctx: Context, unit: Unit, person_id: str = "") -> tuple[Fate, ...]:
    shop = ctx.shop(unit)
    found = keeping.candidates(unit, person_id=person_id)
    return _fates_of(found, rule_of(ctx, unit), shop, ctx.today(shop))


def _fates_of(found: Collection[keeping.Candidate], rule: Rule, shop: Shop, today: date) -> tuple[Fate, ...]:
    ends = _reckoner(rule)
    return tuple(_fate(one.person_id, one.last_closed_at, one.reasons, rule, ends, shop, today) for one in found)


def _delegates(ctx: Context, unit: Unit, person_id: str = "") -> tuple[Fate, ...]:
    shop, rule = ctx.shop(unit), rule_of(ctx, unit, "delegate")
    today, ends = ctx.today(shop), _reckoner(rule)
    return tuple(
        _fate(one.person_id, one.ended_at, one.reasons, rule, ends, shop, today)
        for one in keeping.delegates_ended(unit, person_id=person_id)
    )


def _fate(
    person_id: str, ended_at: datetime, reasons: Collection[str], rule: Rule, ends: Callable[[date], date], shop: Shop,
    today: date,
) -> Fate:  # fmt: skip
    closed = _wall_day(ended_at, shop)
    day, why = ends(closed), why_kept(rule, reasons)
    over = "kept" if why else "due"
    return Fate(person_id, over if day <= today else "running", rule.data_class, closed, day, why)


def _wall_day(at: datetime, shop: Shop) -> date:
    return at.astimezone(ZoneInfo(shop.zone)).date()


def midnight(day: date, shop: Shop) -> datetime:
    """The instant at which that day begins on the shop's wall."""
    return datetime.combine(day, time(), ZoneInfo(shop.zone)).astimezone(UTC)


def _latest(rule: Rule, shop: Shop, today: date) -> datetime:
    """Nobody whose last device went home after this instant can be due yet: it spares reading them."""
    return midnight(before(today, parse_duration(rule.period)) + _SLACK, shop)


def _reckoner(rule: Rule) -> Callable[[date], date]:
    """`ends_on` by one rule; many people share few days."""
    return cache(lambda day: ends_on(rule, day))

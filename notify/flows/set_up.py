"""Make a shop with its first owner; change what a shop sets for itself: settings, hours, closed days, suppliers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, time
from types import SimpleNamespace
from typing import Any

from notify.core.actors import Actor
from notify.core.contacts import check_region, parse_email, parse_phone
from notify.core.cost import parse_part_price
from notify.core.errors import Conflict, Invalid
from notify.core.holidays import Almanac
from notify.core.hours import Hours, SpecialDay
from notify.core.instants import zone
from notify.core.languages import LANGUAGES
from notify.core.money import minor_digits
from notify.core.shop import PROMISE_RULES, PROMISE_TICKS, check_setting
from notify.core.telling_hours import parse_week
from notify.core.text import clean_line
from notify.core.working_days import MOST_DAYS, WEEKDAYS, check_mask, nearest, parse_closed
from notify.flows.context import Context
from notify.flows.hits import changing_hours
from notify.flows.repair_kinds import add_rest
from notify.store import shops
from notify.store.database import Unit
from notify.store.suppliers import habits_of

_NEW_SUPPLIER = SimpleNamespace(zone="", working_days=WEEKDAYS, closed_days=(), holidays_of="", redelivers=False)
_YEARS = range(2000, 2101)  # a day beyond them is a slip of the pen


def make_shop(ctx: Context, *, settings: Mapping[str, Any]) -> str:
    """Makes a shop with these settings and its kind for all repairs; its identifier. Staff and hours come after."""
    shop_id = ctx.new_id()
    with ctx.db.write(shop_id) as unit:
        make_within(ctx, unit, settings)
    return shop_id


def make_within(ctx: Context, unit: Unit, settings: Mapping[str, Any]) -> None:
    """Makes the unit's shop inside the caller's transaction. Raises Invalid with every wrong setting."""
    shops.add_shop(unit, at=ctx.clock())
    _put(unit, settings, valid_from=date(2000, 1, 1))
    add_rest(unit, language=ctx.shop(unit).language)


def change_settings(
    ctx: Context, actor: Actor, values: Mapping[str, Any], *, valid_from: date | None = None, unless_hit: bool = False
) -> None:
    """Changes settings from `valid_from` (today when None) on; raises Invalid with every wrong one.

    `unless_hit`, here and below: raises WouldHit and changes nothing if bookings would be hit (flows/hits.py).
    """
    actor.need("settings")
    with changing_hours(ctx, actor, unless_hit=unless_hit) as unit:
        _put(unit, values, valid_from=valid_from or ctx.today(ctx.shop(unit)))


def _put(unit: Unit, values: Mapping[str, Any], *, valid_from: date) -> None:
    problems: list[Invalid] = []
    checked = check_settings(values, problems, unit.almanac)
    if problems:
        raise Invalid.many(problems)
    shops.put_settings(unit, checked, valid_from=valid_from)


def check_settings(values: Mapping[str, Any], problems: list[Invalid], almanac: Almanac) -> dict[str, Any]:
    """The settings in their right types; what is wrong is added to `problems` with its key as the field."""
    checked = {}
    for key, value in values.items():
        try:
            checked[key] = _check_meaning(key, check_setting(key, value), values, almanac)
        except Invalid as problem:
            problems.append(Invalid(problem.what, problem.advice, field=key))
    return checked


def _check_meaning(key: str, value: Any, values: Mapping[str, Any], almanac: Almanac) -> Any:
    """Settings whose text must also mean something."""
    if key == "zone":
        zone(value)
    elif key == "telling_hours" and value:
        parse_week(value)
    elif key == "name" and not value:
        raise Invalid("The shop has no name", "Write what customers call it.", field=key)
    elif key == "holidays_of" and value:
        return almanac.check(value)
    elif key == "currency":
        minor_digits(value)
    elif key == "region" and value:
        return check_region(value)
    elif key == "email" and value:
        return parse_email(value)
    elif key in ("phone", "bell_phone") and value:
        return parse_phone(value, region=str(values.get("region") or "") or None).e164
    elif key == "sms_part_price":
        parse_part_price(value)
    elif key == "language" and value not in LANGUAGES:
        raise Invalid(f"{value!r} is not spoken here", f"Use one of: {', '.join(LANGUAGES)}.", field=key)
    elif key == "promise_rule" and value not in PROMISE_RULES:
        raise Invalid(f"{value!r} is no rule for promises", f"Use one of: {', '.join(PROMISE_RULES)}.", field=key)
    elif key == "promise_tick" and value not in PROMISE_TICKS:
        ticks = ", ".join(str(tick) for tick in PROMISE_TICKS)
        raise Invalid("Promised times need a step that divides an hour", f"Use one of: {ticks}.", field=key)
    elif key == "promise_level" and not 50 <= value <= 99:
        raise Invalid("Of 100 promises 50 to 99 can be meant to be kept", "90 is usual.", field=key)
    elif key == "slot_minutes" and not 5 <= value <= 240:
        raise Invalid("A pickup slot of that length is no use", "Use 5 to 240 minutes.", field=key)
    return value


def add_hours(
    ctx: Context, actor: Actor, *, weekday: int, opens: time, closes: time, capacity: int,
    valid_from: date | None = None, unless_hit: bool = False,
) -> str:  # fmt: skip
    """Adds opening hours of a weekday (0 is Monday); several rows of one day make a break. Raises Invalid."""
    actor.need("settings")
    with changing_hours(ctx, actor, unless_hit=unless_hit) as unit:
        shop = ctx.shop(unit)
        row = Hours(weekday=weekday, opens=opens, closes=closes, capacity=capacity,
                    valid_from=valid_from or ctx.today(shop))  # fmt: skip
        new = shops.add_hours(unit, row)
        shops.get_counter(unit, shop)  # refuses hours that overlap
        return new


def drop_hours(ctx: Context, actor: Actor, hours_id: str, *, unless_hit: bool = False) -> None:
    """Removes one row of opening hours."""
    actor.need("settings")
    with changing_hours(ctx, actor, unless_hit=unless_hit) as unit:
        shops.drop_hours(unit, hours_id)


def add_special_day(
    ctx: Context, actor: Actor, day: date, *, opens: time | None = None, closes: time | None = None,
    capacity: int = 1, reason: str = "", unless_hit: bool = False,
) -> str:  # fmt: skip
    """Closes a day (no `opens`) or gives it special hours. Bookings on it stay until a person moves them."""
    actor.need("settings")
    words = clean_line(reason, field="reason")
    if day.year not in _YEARS:
        raise Invalid(f"The year {day.year} cannot be meant", "Look at the year once more.", field="day")
    if (opens is None) != (closes is None):
        raise Invalid("A day with special hours needs both times", "Leave both empty to close the day.", field="opens")
    with changing_hours(ctx, actor, unless_hit=unless_hit) as unit:
        if opens is not None and closes is not None:
            SpecialDay(day=day, opens=opens, closes=closes, capacity=capacity)
        new = shops.add_special_day(unit, day, opens=opens, closes=closes, capacity=capacity, reason=words)
        shops.get_counter(unit, ctx.shop(unit))  # refuses hours that overlap
        return new


def open_as_usual(ctx: Context, actor: Actor, day: date) -> str:
    """The shop is open on a public holiday as on any such weekday; its identifier. Raises Conflict if it is none."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        counter = shops.get_counter(unit, ctx.shop(unit))
        if day not in counter.holidays or day in counter.as_usual:
            raise Conflict(f"{day} is no public holiday that closes the shop", "Nothing needs to be done.", field="day")
        return shops.add_special_day(unit, day, opens=None, closes=None, capacity=0, reason="", as_usual=True)


def drop_special_day(ctx: Context, actor: Actor, special_id: str, *, unless_hit: bool = False) -> None:
    """Removes a closed or special day, or one on which the shop is open although it is a holiday."""
    actor.need("settings")
    with changing_hours(ctx, actor, unless_hit=unless_hit) as unit:
        shops.drop_special_day(unit, special_id)


def drop_supplier(ctx: Context, actor: Actor, supplier_id: str) -> None:
    """Removes a supplier from whom nothing was ever ordered; raises Conflict for one that parts still name."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        found = shops.find_supplier(unit, supplier_id)
        if shops.supplier_is_named(unit, found.id):
            raise Conflict(
                f"Parts in the tickets' stories came from {found.name}, so it stays in the list",
                "Nothing needs to be done; order from another one.",
                field="supplier",
            )
        shops.drop_supplier(unit, found.id)


def put_supplier(
    ctx: Context, actor: Actor, *, name: str, cutoff: time | None, delivers_at: time | None, days: int,
    zone: str | None = None, working_days: str | None = None, closed_days: Sequence[date] | None = None,
    holidays_of: str | None = None, redelivers: bool | None = None,
) -> str:  # fmt: skip
    """Adds a supplier or changes the one of that name: its habits as in core/working_days.Supplier; its identifier.

    `zone` empty: the shop's. What is None stays as it is. Raises Invalid, for a calendar without a working day too.
    """
    actor.need("settings")
    words = clean_line(name, field="supplier", limit=80)
    if not words or not 0 <= days <= MOST_DAYS:
        raise Invalid(f"The supplier needs a name and 0 to {MOST_DAYS} days", "Correct them.", field="supplier")
    with ctx.db.write(actor.shop_id) as unit:
        stands = next((row for row in shops.list_suppliers(unit) if row.name == words), _NEW_SUPPLIER)
        asked = {
            "zone": zone, "working_days": working_days, "closed_days": closed_days, "holidays_of": holidays_of,
            "redelivers": redelivers,
        }  # fmt: skip
        whole: dict[str, Any] = {key: getattr(stands, key) if value is None else value for key, value in asked.items()}
        whole |= _check_calendar(unit, whole)
        found = shops.put_supplier(unit, words, cutoff=cutoff, delivers_at=delivers_at, days=days, **whole)
        row, shop = shops.find_supplier(unit, found), ctx.shop(unit)
        nearest(habits_of(unit, row, zone=shop.zone).working, ctx.today(shop))  # refuses one that never works
        return found


def _check_calendar(unit: Unit, asked: Mapping[str, Any]) -> dict[str, Any]:
    """The supplier's zone, working days, closed days and holidays, each in its right form; raises Invalid."""
    closed = (day if isinstance(day, date) else date.fromisoformat(day) for day in asked["closed_days"])
    return {
        "zone": asked["zone"] and zone(asked["zone"]).key,
        "working_days": check_mask(asked["working_days"]),
        "closed_days": parse_closed(closed),
        "holidays_of": asked["holidays_of"] and unit.almanac.check(asked["holidays_of"]),
    }

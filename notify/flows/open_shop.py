"""Open a shop in this installation: settings, usual hours, kinds of repair and the first owner, all or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from typing import Any

from notify.core.errors import Conflict
from notify.core.hours import Hours
from notify.core.languages import LANGUAGES
from notify.flows import repair_kinds, set_up, staff
from notify.flows.context import Context
from notify.store import shops

# Monday to Friday and a short Saturday: a start to correct, not advice.
_WEEK = [(day, time(9), time(18)) for day in range(5)] + [(5, time(9), time(13))]
_CAPACITY = 1  # what one person at the counter can serve: see shelfbell pickup capacity
_FROM = date(2000, 1, 1)


@dataclass(frozen=True, slots=True)
class Owner:
    """The first person of a shop."""

    name: str
    password: str = field(repr=False)
    pin: str = field(default="", repr=False)


def open_shop(ctx: Context, *, settings: Mapping[str, Any], owner: Owner) -> str:
    """The new shop's identifier; empty settings are left out. One transaction.

    Raises Invalid for wrong settings or a weak password, Conflict when another shop here has the name: sources and
    the sign-in page tell shops apart by it.
    """
    values = {"name": "", **{key: value for key, value in settings.items() if value}}
    person = staff.check_person(name=owner.name, role="owner", password=owner.password, pin=owner.pin)
    _check_name(ctx, str(values["name"]))
    shop_id = ctx.new_id()
    with ctx.db.write(shop_id) as unit:
        set_up.make_within(ctx, unit, values)
        staff.add_within(ctx, unit, person)
        for weekday, opens, closes in _WEEK:
            shops.add_hours(unit, Hours(weekday, opens, closes, _CAPACITY, _FROM))
        repair_kinds.add_first_within(unit, language=str(values.get("language", LANGUAGES[0])))
    return shop_id


def _check_name(ctx: Context, name: str) -> None:
    if name and any(told == name.strip().casefold() for told in names(ctx).values()):
        raise Conflict(f"There is a shop called {name[:80]!r} already", "Choose another name.", field="name")


def names(ctx: Context) -> dict[str, str]:
    """The name of every shop here, without regard to capitals, by identifier; oldest first."""
    found = {}
    for shop_id in shops.shop_ids(ctx.db):
        with ctx.db.read(shop_id) as unit:
            found[shop_id] = ctx.shop(unit).name.strip().casefold()
    return found

"""The shops here, and what one sets for itself: settings, hours, closed and special days, suppliers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, time
from typing import Any

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.cli.pickup import hit_lines
from notify.cli.shop_open import add, list_
from notify.cli.supplier import clock, habits, supplier, time_of
from notify.core.errors import Invalid
from notify.core.shop import SHOP_SETTINGS
from notify.flows import set_up, view_hits, view_settings
from notify.flows.hits import WouldHit

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY = click.DateTime(formats=["%Y-%m-%d"])
_UNLESS_HIT = click.option("--unless-hit", is_flag=True, help="Change nothing if booked pickups would no longer fit.")


@click.group("shop", cls=Group)
def shop() -> None:
    """The shops of this installation, and the settings of each."""


@shop.command("show")
@pass_desk
def show(desk: Desk) -> None:
    """Settings, opening hours, special days and suppliers."""
    view = view_settings.view(desk.ctx, desk.actor)
    settings = [(key, getattr(view.shop, key)) for key in SHOP_SETTINGS]
    hours = [
        (i[:8], _WEEKDAYS[h.weekday], _said(h.opens, h.closes), f"{h.capacity} a slot", f"from {h.valid_from}")
        for i, h in view.hours
    ]  # fmt: skip
    days = [
        (d.id[:8], d.day, _day_says(d), d.reason) for d in view.days
    ]  # fmt: skip
    suppliers = [habits(one) for one in view.suppliers]
    desk.show(view, *table([(key, _text(value)) for key, value in settings]), "", "Opening hours", *table(hours),
              *(["", "Special days", *table(days)] if days else []),
              *(["", "Suppliers", *table(suppliers)] if suppliers else []))  # fmt: skip


@shop.command("set")
@click.argument("pairs", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.option("--from", "valid_from", type=_DAY, default=None, help="Counts from this day on; today if left out.")
@_UNLESS_HIT
@pass_desk
def set_(desk: Desk, pairs: tuple[str, ...], valid_from: datetime | None, unless_hit: bool) -> None:
    """Change settings, as in: shelfbell shop set name="Tramstop Bench" pass_days=7."""
    values = {}
    for pair in pairs:
        key, sign, value = pair.partition("=")
        if not sign:
            raise Invalid(
                f"{pair[:40]!r} has no =", "Write KEY=VALUE; `shelfbell shop show` lists the keys.", field=key[:40]
            )
        values[key] = value
    from_day = valid_from.date() if valid_from else None
    with _listing(desk):
        set_up.change_settings(desk.ctx, desk.actor, values, valid_from=from_day, unless_hit=unless_hit)
    _kept(desk, {"changed": sorted(values)}, f"Changed: {', '.join(values)}.")


@shop.command("hours")
@click.argument("weekday", type=click.Choice(_WEEKDAYS), required=False)
@click.argument("span", required=False, metavar="[HH:MM-HH:MM]")
@click.option("--capacity", type=click.IntRange(0, 1000), default=1, show_default=True, help="Customers in one slot.")
@click.option("--from", "valid_from", type=_DAY, default=None, help="Counts from this day on; today if left out.")
@click.option("--drop", default="", help="Remove the row whose identifier begins so.")
@_UNLESS_HIT
@pass_desk
def hours(
    desk: Desk, weekday: str | None, span: str | None, capacity: int, valid_from: datetime | None, drop: str,
    unless_hit: bool,
) -> None:  # fmt: skip
    """Add opening hours of a weekday, as in: shelfbell shop hours sat 09:00-13:00; two rows make a break."""
    if drop:
        known = [i for i, _ in view_settings.view(desk.ctx, desk.actor).hours]
        with _listing(desk):
            set_up.drop_hours(desk.ctx, desk.actor, _beginning(known, drop), unless_hit=unless_hit)
        _kept(desk, {"dropped": True}, "Removed.")
        return
    if not weekday or not span:
        raise Invalid("Name a weekday and a span", "As in: shelfbell shop hours sat 09:00-13:00.", field="weekday")
    opens, closes = _span(span)
    with _listing(desk):
        new = set_up.add_hours(desk.ctx, desk.actor, weekday=_WEEKDAYS.index(weekday), opens=opens, closes=closes,
                               capacity=capacity, valid_from=valid_from.date() if valid_from else None,
                               unless_hit=unless_hit)  # fmt: skip
    _kept(desk, {"hours": new}, "Added.")


@shop.command("closed")
@click.argument("day", type=_DAY, required=False)
@click.option("--open", "span", default="", metavar="HH:MM-HH:MM", help="Not closed, but open at these hours.")
@click.option("--capacity", type=click.IntRange(0, 1000), default=1, show_default=True)
@click.option("--reason", default="")
@click.option("--drop", default="", help="Remove the special day whose identifier begins so.")
@_UNLESS_HIT
@pass_desk
def closed(
    desk: Desk, day: datetime | None, span: str, capacity: int, reason: str, drop: str, unless_hit: bool
) -> None:
    """Close a DAY (2026-12-25), or give it hours of its own. Bookings on it stay until somebody moves them."""
    if drop:
        known = [d.id for d in view_settings.view(desk.ctx, desk.actor).days]
        with _listing(desk):
            set_up.drop_special_day(desk.ctx, desk.actor, _beginning(known, drop), unless_hit=unless_hit)
        _kept(desk, {"dropped": True}, "Removed.")
        return
    if day is None:
        raise Invalid("Name a day", "As in: shelfbell shop closed 2026-12-25.", field="day")
    opens, closes = _span(span) if span else (None, None)
    with _listing(desk):
        new = set_up.add_special_day(desk.ctx, desk.actor, day.date(), opens=opens, closes=closes, capacity=capacity,
                                     reason=reason, unless_hit=unless_hit)  # fmt: skip
    _kept(desk, {"day": new}, f"{day:%Y-%m-%d} is {'open ' + span if span else 'closed'}.")


@shop.command("holidays")
@click.option("--open", "day", type=_DAY, default=None, help="The shop is open on this one, as on any such weekday.")
@pass_desk
def holidays(desk: Desk, day: datetime | None) -> None:
    """The public holidays of the coming year; where they are taken from is `shelfbell shop set holidays_of=GB-ENG`."""
    if day is not None:
        new = set_up.open_as_usual(desk.ctx, desk.actor, day.date())
        desk.show({"day": new}, f"{day:%Y-%m-%d} is open as usual.")
        return
    seen = view_settings.view(desk.ctx, desk.actor)
    rows = [(one.day, one.name, "closed" if one.is_closed else "as you noted") for one in seen.holidays]
    none = seen.holidays_silent or "No public holiday closes the shop."
    desk.show(seen.holidays, *(table(rows) or [none]))


shop.add_command(supplier)
shop.add_command(add)
shop.add_command(list_)


@contextmanager
def _listing(desk: Desk) -> Iterator[None]:
    """Says which pickups a change would hit, when that is why it was refused."""
    try:
        yield
    except WouldHit as refused:
        for line in hit_lines(desk, view_hits.view_would_be(desk.ctx, desk.actor, refused.hits)):
            click.echo(line, err=True)
        raise


def _kept(desk: Desk, data: dict[str, Any], said: str) -> None:
    """What was changed, and the pickups that no longer fit."""
    found = view_hits.view(desk.ctx, desk.actor)
    told = ["These pickups no longer fit; nothing is moved by itself:", *hit_lines(desk, found)] if found else []
    desk.show({**data, "hit": found}, said, *told)


def _span(text: str) -> tuple[time, time]:
    opens, sign, closes = text.partition("-")
    if not sign:
        raise Invalid(f"{text[:20]!r} is no span", "Write it as 09:00-18:00.", field="opens")
    return time_of(opens), time_of(closes)


def _beginning(known: list[str], text: str) -> str:
    found = [one for one in known if one.startswith(text)]
    if len(found) != 1:
        raise Invalid("No single row begins so", "`shelfbell shop show` lists them.", field="drop")
    return found[0]


def _said(opens: time | None, closes: time | None) -> str:
    return f"{clock(opens)}-{clock(closes)}"


def _day_says(day: view_settings.Day) -> str:
    return "open as usual" if day.as_usual else _said(day.opens, day.closes) if day.opens else "closed"


def _text(value: object) -> str:
    text = ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
    return text.replace("\n", ", ") or "-"

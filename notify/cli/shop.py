"""What the shop sets for itself: settings, hours, closed and special days, suppliers."""

from __future__ import annotations

from datetime import datetime, time

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Invalid
from notify.core.shop import SHOP_SETTINGS
from notify.flows import set_up, view_settings

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group("shop", cls=Group)
def shop() -> None:
    """The shop's own settings."""


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
        (d.id[:8], d.day, _said(d.opens, d.closes) if d.opens else "closed", d.reason) for d in view.days
    ]  # fmt: skip
    suppliers = [(s.name, f"cut-off {_clock(s.cutoff)}", f"delivers {_clock(s.delivers_at)}", f"{s.days} days")
                 for s in view.suppliers]  # fmt: skip
    desk.show(view, *table([(key, _text(value)) for key, value in settings]), "", "Opening hours", *table(hours),
              *(["", "Special days", *table(days)] if days else []),
              *(["", "Suppliers", *table(suppliers)] if suppliers else []))  # fmt: skip


@shop.command("set")
@click.argument("pairs", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.option("--from", "valid_from", type=_DAY, default=None, help="Counts from this day on; today if left out.")
@pass_desk
def set_(desk: Desk, pairs: tuple[str, ...], valid_from: datetime | None) -> None:
    """Change settings, as in: shelfbell shop set name="Tramstop Bench" keep_period=P60D."""
    values = {}
    for pair in pairs:
        key, sign, value = pair.partition("=")
        if not sign:
            raise Invalid(
                f"{pair[:40]!r} has no =", "Write KEY=VALUE; `shelfbell shop show` lists the keys.", field=key[:40]
            )
        values[key] = value
    set_up.change_settings(desk.ctx, desk.actor, values, valid_from=valid_from.date() if valid_from else None)
    desk.show({"changed": sorted(values)}, f"Changed: {', '.join(values)}.")


@shop.command("hours")
@click.argument("weekday", type=click.Choice(_WEEKDAYS), required=False)
@click.argument("span", required=False, metavar="[HH:MM-HH:MM]")
@click.option("--capacity", type=click.IntRange(0, 1000), default=1, show_default=True, help="Customers in one slot.")
@click.option("--from", "valid_from", type=_DAY, default=None, help="Counts from this day on; today if left out.")
@click.option("--drop", default="", help="Remove the row whose identifier begins so.")
@pass_desk
def hours(
    desk: Desk, weekday: str | None, span: str | None, capacity: int, valid_from: datetime | None, drop: str
) -> None:
    """Add opening hours of a weekday, as in: shelfbell shop hours sat 09:00-13:00; two rows make a break."""
    if drop:
        known = [i for i, _ in view_settings.view(desk.ctx, desk.actor).hours]
        set_up.drop_hours(desk.ctx, desk.actor, _beginning(known, drop))
        desk.show({"dropped": True}, "Removed.")
        return
    if not weekday or not span:
        raise Invalid("Name a weekday and a span", "As in: shelfbell shop hours sat 09:00-13:00.", field="weekday")
    opens, closes = _span(span)
    new = set_up.add_hours(desk.ctx, desk.actor, weekday=_WEEKDAYS.index(weekday), opens=opens, closes=closes,
                           capacity=capacity, valid_from=valid_from.date() if valid_from else None)  # fmt: skip
    desk.show({"hours": new}, "Added.")


@shop.command("closed")
@click.argument("day", type=_DAY, required=False)
@click.option("--open", "span", default="", metavar="HH:MM-HH:MM", help="Not closed, but open at these hours.")
@click.option("--capacity", type=click.IntRange(0, 1000), default=1, show_default=True)
@click.option("--reason", default="")
@click.option("--drop", default="", help="Remove the special day whose identifier begins so.")
@pass_desk
def closed(desk: Desk, day: datetime | None, span: str, capacity: int, reason: str, drop: str) -> None:
    """Close a DAY (2026-12-25), or give it hours of its own. Bookings on it stay until somebody moves them."""
    if drop:
        known = [d.id for d in view_settings.view(desk.ctx, desk.actor).days]
        set_up.drop_special_day(desk.ctx, desk.actor, _beginning(known, drop))
        desk.show({"dropped": True}, "Removed.")
        return
    if day is None:
        raise Invalid("Name a day", "As in: shelfbell shop closed 2026-12-25.", field="day")
    opens, closes = _span(span) if span else (None, None)
    new = set_up.add_special_day(desk.ctx, desk.actor, day.date(), opens=opens, closes=closes, capacity=capacity,
                                 reason=reason)  # fmt: skip
    desk.show({"day": new}, f"{day:%Y-%m-%d} is {'open ' + span if span else 'closed'}.")


@shop.command("supplier")
@click.argument("name")
@click.option("--cutoff", default="", metavar="HH:MM", help="Orders after it take a day longer.")
@click.option("--delivers-at", default="", metavar="HH:MM")
@click.option(
    "--days", type=click.IntRange(0, 365), default=1, show_default=True, help="Working days a delivery takes."
)
@pass_desk
def supplier(desk: Desk, name: str, cutoff: str, delivers_at: str, days: int) -> None:
    """Add a supplier, or change the one of that name."""
    set_up.put_supplier(desk.ctx, desk.actor, name=name, days=days, cutoff=_time(cutoff) if cutoff else None,
                        delivers_at=_time(delivers_at) if delivers_at else None)  # fmt: skip
    desk.show({"supplier": name}, "Noted.")


def _span(text: str) -> tuple[time, time]:
    opens, sign, closes = text.partition("-")
    if not sign:
        raise Invalid(f"{text[:20]!r} is no span", "Write it as 09:00-18:00.", field="opens")
    return _time(opens), _time(closes)


def _time(text: str) -> time:
    try:
        return datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007 - a wall time has no zone
    except ValueError:
        raise Invalid(f"{text[:20]!r} is no time of day", "Write it as 09:30.", field="opens") from None


def _beginning(known: list[str], text: str) -> str:
    found = [one for one in known if one.startswith(text)]
    if len(found) != 1:
        raise Invalid("No single row begins so", "`shelfbell shop show` lists them.", field="drop")
    return found[0]


def _said(opens: time | None, closes: time | None) -> str:
    return f"{_clock(opens)}-{_clock(closes)}"


def _clock(at: time | None) -> str:
    return f"{at:%H:%M}" if at else "-"


def _text(value: object) -> str:
    text = ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
    return text.replace("\n", ", ") or "-"

"""One supplier's habits by command, and how they are shown."""

from __future__ import annotations

from datetime import date, datetime, time

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.core.errors import Invalid
from notify.core.working_days import MOST_DAYS
from notify.flows import set_up, view_settings

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@click.command("supplier", cls=Command)
@click.argument("name")
@click.option("--cutoff", default=None, metavar="HH:MM", help='Orders after it take a day longer; "" for none.')
@click.option("--delivers-at", default=None, metavar="HH:MM", help="On the shop's clock.")
@click.option("--days", type=click.IntRange(0, MOST_DAYS), default=None, help="Working days a delivery takes.")
@click.option("--zone", default=None, help="Where its cut-off counts, as Europe/Berlin; the shop's if empty.")
@click.option("--works", default=None, metavar="DAYS", help="Its working days, as mon,tue,sat.")
@click.option("--closed", default=None, metavar="DAYS", help='Its own closed days, as 2026-12-24,2026-12-31; "": none.')
@click.option("--holidays-of", default=None, metavar="PLACE", help="Whose public holidays it keeps, as GB-ENG.")
@click.option("--redelivers/--no-redelivers", default=None, help="A box that finds the shop shut comes again.")
@pass_desk
def supplier(desk: Desk, name: str, cutoff: str | None, delivers_at: str | None, days: int | None, zone: str | None,
             works: str | None, closed: str | None, holidays_of: str | None, redelivers: bool | None,
) -> None:  # fmt: skip
    """Add a supplier, or change the one of that name; what is left out stays as it is."""
    seen = view_settings.view(desk.ctx, desk.actor).suppliers
    stands = next((one for one in seen if one.name == name), view_settings.Supplier("", name, None, None, 1, False))
    set_up.put_supplier(
        desk.ctx, desk.actor, name=name, days=stands.days if days is None else days,
        cutoff=_time_or(cutoff, stands.cutoff), delivers_at=_time_or(delivers_at, stands.delivers_at), zone=zone,
        working_days=None if works is None else _mask(works), holidays_of=holidays_of, redelivers=redelivers,
        closed_days=None if closed is None else [_day(one) for one in closed.split(",") if one.strip()],
    )  # fmt: skip
    desk.show({"supplier": name}, "Noted.")


def habits(one: view_settings.Supplier) -> tuple[str, ...]:
    """A row of the table of suppliers."""
    there = f" {one.zone}" if one.zone else ""
    return (one.name, f"cut-off {clock(one.cutoff)}{there}", f"delivers {clock(one.delivers_at)}", f"{one.days} days",
            _works(one.working_days), _came(one.delays))  # fmt: skip


def clock(at: time | None) -> str:
    """A time of day, or a dash."""
    return f"{at:%H:%M}" if at else "-"


def time_of(text: str) -> time:
    """A time of day as it was typed; raises Invalid."""
    try:
        return datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007 - a wall time has no zone
    except ValueError:
        raise Invalid(f"{text[:20]!r} is no time of day", "Write it as 09:30.", field="opens") from None


def _time_or(text: str | None, stands: time | None) -> time | None:
    return stands if text is None else time_of(text) if text.strip() else None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Invalid(f"{text[:20]!r} is no day", "Write it as 2026-12-24.", field="closed_days") from None


def _mask(text: str) -> str:
    """Working days as "mon,tue" in seven signs, Monday first."""
    named = {one.strip().lower() for one in text.split(",") if one.strip()}
    if strange := sorted(named - set(_WEEKDAYS)):
        raise Invalid(f"{strange[0][:20]!r} is no weekday", f"Use {', '.join(_WEEKDAYS)}.", field="working_days")
    return "".join("1" if day in named else "0" for day in _WEEKDAYS)


def _works(mask: str) -> str:
    return ",".join(day for day, sign in zip(_WEEKDAYS, mask, strict=True) if sign == "1")


def _came(delays: tuple[int, ...]) -> str:
    """How many parcels came on their day, and how many 1, 2, 3 or more working days later."""
    if not sum(delays):
        return "no parcels yet"
    late = [f"{times} {number if number < len(delays) - 1 else 'more'} days late"
            for number, times in enumerate(delays) if number and times]  # fmt: skip
    return ", ".join([f"{delays[0]} of {sum(delays)} parcels on the day", *late])

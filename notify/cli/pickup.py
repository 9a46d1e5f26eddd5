"""Pickups: slots on offer, book or move, cancel, the list of a day."""

from __future__ import annotations

from datetime import date, datetime

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Invalid
from notify.flows import pickup as flow
from notify.flows import view_pickups

_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group("pickup", cls=Group)
def pickup() -> None:
    """Pickup times. NUMBER is a claim number of the visit."""


@pickup.command("slots")
@click.argument("number")
@pass_desk
def slots(desk: Desk, number: str) -> None:
    """The times with free places for a visit that has something on the shelf."""
    found = flow.offers(desk.ctx, desk.actor, desk.meant(number).visit_id)
    shown = [{"slot": f"{o.slot.local:%Y-%m-%dT%H:%M}/{o.slot.fold}", "free": o.free} for o in found]
    rows = [
        (f"{o.slot.local:%Y-%m-%dT%H:%M}{'/1' if o.slot.fold else ''}", f"{o.slot.local:%a %d %b}", o.free)
        for o in found
    ]
    desk.show(shown, *(table(rows, head=("slot", "day", "free")) or ["Nothing is ready, or no time is free."]))


@pickup.command("book")
@click.argument("number")
@click.argument("slot")
@pass_desk
def book(desk: Desk, number: str, slot: str) -> None:
    """Book SLOT (2026-11-26T17:30, as `pickup slots` lists it), or move the booking there."""
    local, fold = typed_slot(slot)
    made = flow.book(desk.ctx, desk.actor, desk.meant(number).visit_id, local, fold=fold)
    desk.show({"booking": made.id, "start": made.start_at}, f"Booked: {desk.when(made.start_at)}.")


@pickup.command("cancel")
@click.argument("number")
@pass_desk
def cancel(desk: Desk, number: str) -> None:
    """Give the booked time up."""
    made = flow.cancel(desk.ctx, desk.actor, desk.meant(number).visit_id)
    desk.show({"booking": made.id}, "Cancelled.")


@pickup.command("list")
@click.option("--day", type=_DAY, default=None, help="As 2026-11-26; today if left out.")
@pass_desk
def list_(desk: Desk, day: datetime | None) -> None:
    """Who comes when, and what is ready without a time."""
    wanted: date | None = day.date() if day else None
    view = view_pickups.view(desk.ctx, desk.actor, day=wanted)
    rows = [
        (desk.when(p.start_at), ", ".join(t.number for t in p.ready) or "-", p.person or "-",
         ", ".join(t.shelf for t in p.ready if t.shelf) or "-", ", ".join(t.device for t in p.ready))
        for p in view.pickups
    ]  # fmt: skip
    lines = table(rows, head=("time", "number", "who", "shelf", "device")) or ["Nobody has booked."]
    waiting = [f"  {s.ticket.number}  {s.days} days  {s.ticket.device}" for s in view.ready]
    desk.show(view, *lines, *(["Ready, without a time:", *waiting] if waiting else []))


def typed_slot(text: str) -> tuple[datetime, int]:
    """The local start and fold of a slot as `pickup slots` lists it; raises Invalid."""
    local, _, fold = text.strip().partition("/")
    try:
        moment = datetime.fromisoformat(local)
        if moment.tzinfo is not None or fold not in ("", "0", "1"):
            raise ValueError
    except ValueError:
        raise Invalid(f"{text[:40]!r} is no slot", "Write it as `pickup slots` lists it.", field="slot") from None
    return moment, int(fold or 0)

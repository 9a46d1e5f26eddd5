"""Pickups: slots on offer, book, move, cancel, what changed hours have hit, the list of a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Invalid, NotFound
from notify.flows import pickup as flow
from notify.flows import view_hits, view_pickups
from notify.flows.hits import TOLD, let_stand
from notify.flows.view_hits import HitLine
from notify.store.bookings import Booking

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


_ONCE = click.option("--once", default="", metavar="KEY", help="The same request with the same KEY counts once.")
_WHY = click.option("--why", type=click.Choice(sorted(TOLD.values())), default=None, help="What the customer is told.")


def _say(desk: Desk, done: Booking) -> None:
    """The outcome, in the sentence that every face says."""
    shown = {"booking": done.id, "start": done.start_at, "state": done.state, "revision": done.revision}
    desk.show(shown, flow.say_outcome(done, desk.when(done.start_at)))


@pickup.command("book")
@click.argument("number")
@click.argument("slot")
@_ONCE
@pass_desk
def book(desk: Desk, number: str, slot: str, once: str) -> None:
    """Book SLOT (2026-11-26T17:30, as `pickup slots` lists it), or move the booking there."""
    local, fold = typed_slot(slot)
    _say(desk, flow.book(desk.ctx, desk.actor, desk.meant(number).visit_id, local, fold=fold, once=once))


@pickup.command("move")
@click.argument("number")
@click.argument("slot")
@_ONCE
@_WHY
@pass_desk
def move(desk: Desk, number: str, slot: str, once: str, why: str | None) -> None:
    """Move what is booked to SLOT; refused when nothing is booked."""
    local, fold = typed_slot(slot)
    visit_id = desk.meant(number).visit_id
    _say(desk, flow.move(desk.ctx, desk.actor, visit_id, local, fold=fold, once=once, why=why or ""))


@pickup.command("cancel")
@click.argument("number")
@_ONCE
@_WHY
@pass_desk
def cancel(desk: Desk, number: str, once: str, why: str | None) -> None:
    """Give the booked time up; the customer may choose another."""
    _say(desk, flow.cancel(desk.ctx, desk.actor, desk.meant(number).visit_id, once=once, why=why or "you_asked"))


@pickup.command("hit")
@pass_desk
def hit(desk: Desk) -> None:
    """The pickups that no longer fit the hours: nothing moves them but `pickup move`, `cancel` or `stay`."""
    found = view_hits.view(desk.ctx, desk.actor)
    desk.show(found, *(hit_lines(desk, found) or ["Every pickup fits the hours."]))


@pickup.command("stay")
@click.argument("number")
@pass_desk
def stay(desk: Desk, number: str) -> None:
    """Let a pickup that no longer fits the hours stand as it is."""
    visit_id = desk.meant(number).visit_id
    found = next((one for one in view_hits.view(desk.ctx, desk.actor) if one.visit_id == visit_id), None)
    if found is None:
        raise NotFound("This pickup needs no decision", "`shelfbell pickup hit` lists those that do.")
    let_stand(desk.ctx, desk.actor, found.booking_id)
    desk.show({"booking": found.booking_id}, "The pickup stays as it is.")


def hit_lines(desk: Desk, found: Sequence[HitLine]) -> list[str]:
    """Who, when, why, how to reach them, and the next free time."""
    rows = [
        (one.devices[0].number if one.devices else "-", desk.when(one.start_at), one.person or "-", one.phone or "-",
         one.why.replace("_", " "), one.nearest.removesuffix("/0") or "-")
        for one in found
    ]  # fmt: skip
    return table(rows, head=("number", "booked", "who", "phone", "why", "next free"))


@pickup.command("list")
@click.option("--day", type=_DAY, default=None, help="As 2026-11-26; today if left out.")
@pass_desk
def list_(desk: Desk, day: datetime | None) -> None:
    """One day at the counter: free places, who comes when, who is late, who came, and what is ready without a time."""
    wanted: date | None = day.date() if day else None
    view = view_pickups.view(desk.ctx, desk.actor, day=wanted)
    rows = [
        (desk.when(p.start_at), ", ".join(t.number for t in (*p.ready, *p.taken)) or "-", p.person or "-",
         ", ".join(t.shelf for t in p.ready if t.shelf) or "-", ", ".join(t.device for t in (*p.ready, *p.taken)),
         _stands(p))
        for p in sorted((*view.pickups, *view.over), key=lambda p: p.start_at)
    ]  # fmt: skip
    lines = table(rows, head=("time", "number", "who", "shelf", "device", "")) or ["Nobody has booked."]
    free = sum(slot.free for slot in view.slots if slot.start_at >= view.now)
    waiting = [f"  {s.ticket.number}  {s.days} days  {s.ticket.device}" for s in view.ready]
    desk.show(view, *lines, f"Free places still to come: {free}.",
              *(["Ready, without a time:", *waiting] if waiting else []))  # fmt: skip


def _stands(one: view_pickups.Pickup) -> str:
    if one.state != "booked":
        return {"kept": "came", "missed": "did not come", "cancelled": "given up"}[one.state]
    late = f"{one.late} minutes late" if one.late is not None else ""
    said = f"calendar: {one.partstat.replace('_', ' ')}" if one.partstat not in ("", "needs_action") else ""
    return ", ".join(part for part in (late, said) if part)


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

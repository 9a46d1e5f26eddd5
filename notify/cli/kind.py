"""Kinds of repair: what is repaired here, how long it usually takes, and what was learned of it."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.flows import learn, repair_kinds
from notify.flows.check_in_form import DEVICE_CLASSES
from notify.flows.view_learned import view_kinds

_CLASS = click.option("--class", "device_class", type=click.Choice(["", *DEVICE_CLASSES]), default=None,
                      help="For which devices; left out: for all.")  # fmt: skip


@click.group("kind", cls=Group)
def kind() -> None:
    """Kinds of repair, by name: what a forecast learns its minutes of."""


@kind.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Every kind with its usual minutes, and within which half of such repairs, and nine of ten, are done."""
    found = view_kinds(desk.ctx, desk.actor)
    rows = [
        (one.name, f"{one.minutes} min", one.device_class or "any", one.jobs, f"{one.half:.0f} min",
         f"{one.nine:.0f} min", "no longer offered" if not one.active else "the rest" if one.catch_all else "")
        for one in found
    ]  # fmt: skip
    desk.show(found, *table(rows, head=("kind", "usual", "device", "learned from", "half", "nine of ten", "")))


@kind.command("set")
@click.argument("name")
@click.argument("minutes", type=int)
@_CLASS
@click.option("--rename", default="", help="Its new name.")
@pass_desk
def set_(desk: Desk, name: str, minutes: int, device_class: str | None, rename: str) -> None:
    """Add a kind with its usual MINUTES on the bench, or change the one of that name."""
    new = repair_kinds.put_kind(desk.ctx, desk.actor, name=name, minutes=minutes, device_class=device_class or "",
                                new_name=rename)  # fmt: skip
    desk.show({"kind": new}, "Noted.")


@kind.command("retire")
@click.argument("name")
@click.option("--again", is_flag=True, help="Offer it again instead.")
@pass_desk
def retire(desk: Desk, name: str, again: bool) -> None:
    """Offer a kind no longer; tickets that name it keep it, and what was learned stays."""
    said = repair_kinds.set_active(desk.ctx, desk.actor, name, active=again)
    desk.show({"kind": said, "active": again}, f"{said} is {'offered again' if again else 'no longer offered'}.")


@kind.command("first")
@pass_desk
def first(desk: Desk) -> None:
    """Add the kinds that a new shop starts with, those that are missing; correct their minutes then."""
    added = repair_kinds.add_first(desk.ctx, desk.actor)
    desk.show({"added": added}, f"{added} added.")


@kind.command("relearn")
@pass_desk
def relearn(desk: Desk) -> None:
    """Make what was learned anew from the past repairs. It is right already, unless somebody wrote into the tables."""
    changed = learn.relearn(desk.ctx, desk.actor)
    desk.show({"changed": changed}, f"{changed} kinds were not right." if changed else "All of it was right.")

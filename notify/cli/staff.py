"""Who works here: add, change, list."""

from __future__ import annotations

from typing import IO

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.cli.passwords import read_password
from notify.core.rings import RINGS_BY
from notify.core.roles import STAFF_ROLES
from notify.flows import at_bench, staff_bell
from notify.flows import staff as flow
from notify.flows.view_lookup import find_staff
from notify.flows.view_staff import view_staff

_ROLE = click.Choice(STAFF_ROLES)
_FILE = click.option("--password-file", type=click.File("r"), help="Password on the first line, PIN on the second if "
                     "there is to be one; - is the standard input. Left out: asked for, or one is made.")  # fmt: skip


@click.group("staff", cls=Group)
def staff() -> None:
    """Who works here and what they may do."""


@staff.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Everybody who works or worked here."""
    from notify.web.counter import away_says as says  # its pages come with it: not for the other commands

    found = view_staff(desk.ctx, desk.actor)
    rows = [
        (p.name, p.role, "works here" if p.active else "left", "repairs" if p.active and p.at_bench else "-",
         "; ".join(says.away(one, desk.zone.key) for one in p.away) or "-", "PIN" if p.has_pin else "-",
         p.rings_by or "-", p.email or "-", p.phone or "-") for p in found
    ]  # fmt: skip
    desk.show(found, *table(rows, head=("name", "role", "", "bench", "away", "switch", "bell", "e-mail", "phone")))


@staff.command("add")
@click.argument("name")
@click.argument("role", type=_ROLE)
@_FILE
@pass_desk
def add(desk: Desk, name: str, role: str, password_file: IO[str] | None) -> None:
    """Add somebody who works here."""
    secret = read_password(password_file)
    flow.add_staff(desk.ctx, desk.actor, name=name, role=role, password=secret.password, pin=secret.pin)
    desk.show({"name": name, "role": role, **secret.shown()}, f"{name} works here as {role}.", *secret.lines())


@staff.command("change")
@click.argument("name")
@click.option("--role", type=_ROLE, default=None)
@click.option("--password", "new_password", is_flag=True, help="A new password, from --password-file or the terminal.")
@click.option("--active/--left", default=None, help="Works here, or no longer.")
@_FILE
@pass_desk
def change(desk: Desk, name: str, role: str | None, new_password: bool, active: bool | None,
           password_file: IO[str] | None) -> None:  # fmt: skip
    """Change somebody's role, password and PIN, or whether they work here; their sessions end."""
    secret = read_password(password_file) if new_password or password_file else None
    flow.change_staff(
        desk.ctx, desk.actor, find_staff(desk.ctx, desk.actor, name), role=role or "", active=active,
        drop_copies=desk.services.drop_copies,
        password=secret.password if secret else "", pin=secret.pin if secret else "",
    )  # fmt: skip
    desk.show({"name": name, **(secret.shown() if secret else {})}, "Changed.", *(secret.lines() if secret else ()))


@staff.command("bell")
@click.argument("name")
@click.option("--email", default=None, help="Where it rings by e-mail; empty takes the address away.")
@click.option("--phone", default=None, help="Where it rings by text message; empty takes the number away.")
@click.option("--by", type=click.Choice(tuple(RINGS_BY)), default=None, help="How it rings; empty: on the shop's own.")
@click.option("--erase", is_flag=True, help="Erase address and number, their key, and what was sent there.")
@pass_desk
def bell(desk: Desk, name: str, email: str | None, phone: str | None, by: str | None, erase: bool) -> None:
    """Where the shop's bell rings for somebody: answers, parts, pickups, replies and calls about their tickets."""
    found = find_staff(desk.ctx, desk.actor, name)
    if erase:
        staff_bell.forget_bell(desk.ctx, desk.actor, found, drop_copies=desk.services.drop_copies)
        desk.show({"name": name, "erased": True}, f"Where the bell rang for {name} is erased.")
        return
    staff_bell.set_bell(desk.ctx, desk.actor, found, email=email, phone=phone, by=by)
    now = next(one for one in view_staff(desk.ctx, desk.actor) if one.id == found)
    where = " and ".join(text for text in (now.email, now.phone) if text)
    kept = f" Kept: {where}." if where else ""
    desk.show(now, f"The bell rings for {name} by {now.rings_by or 'nothing of their own'}.{kept}")


@staff.command("bench")
@click.argument("name")
@click.argument("repairs", type=click.Choice(("on", "off")), metavar="on|off")
@pass_desk
def bench(desk: Desk, name: str, repairs: str) -> None:
    """Say whether somebody repairs devices: forecasts reckon with whoever is at the bench."""
    from notify.web.counter import away_says as says

    found = find_staff(desk.ctx, desk.actor, name)
    at_bench.set_bench(desk.ctx, desk.actor, found, repairs=repairs == "on")
    everybody = view_staff(desk.ctx, desk.actor)
    now = next(one for one in everybody if one.id == found)
    desk.show({"name": now.name, "at_bench": now.at_bench}, says.at_bench(now.name, everybody))


@staff.command("away")
@click.argument("name")
@click.argument("first", metavar="FROM")
@click.argument("last", metavar="UNTIL")
@pass_desk
def away(desk: Desk, name: str, first: str, last: str) -> None:
    """Somebody is not here FROM a day UNTIL another, both included; or to the minute, as 2026-12-01T13:00.

    No reason is asked for, and none is kept. An absence is deleted 30 days after its end.
    """
    from notify.web.counter import away_says as says

    noted = at_bench.note_away(desk.ctx, desk.actor, find_staff(desk.ctx, desk.actor, name), first, last)
    desk.show(noted, "Noted.", *filter(None, [says.left_empty(noted.empty, desk.zone.key)]))


@staff.command("back")
@click.argument("name")
@click.argument("day", default="")
@pass_desk
def back(desk: Desk, name: str, day: str) -> None:
    """Somebody is here again now; or will be on DAY: what has not begun is taken back."""
    ended = at_bench.come_back_on(desk.ctx, desk.actor, find_staff(desk.ctx, desk.actor, name), day)
    desk.show({"name": name, "ended": ended}, "Noted.")

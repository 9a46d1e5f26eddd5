"""Who works here: add, change, list."""

from __future__ import annotations

from typing import IO

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.cli.passwords import read_password
from notify.core.roles import STAFF_ROLES
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
    found = view_staff(desk.ctx, desk.actor)
    rows = [(p.name, p.role, "works here" if p.active else "left", "PIN" if p.has_pin else "-") for p in found]
    desk.show(found, *table(rows, head=("name", "role", "", "switch")))


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
        password=secret.password if secret else "", pin=secret.pin if secret else "",
    )  # fmt: skip
    desk.show({"name": name, **(secret.shown() if secret else {})}, "Changed.", *(secret.lines() if secret else ()))

"""The description of the API, for programs that make a client of it."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, as_json, pass_desk
from notify.web.api.describe import describe as described
from notify.web.api.operations import OPERATIONS


@click.group("api", cls=Group)
def api() -> None:
    """The API for the shop's own scripts."""


@api.command("describe")
@pass_desk
def describe(desk: Desk) -> None:
    """The whole description in OpenAPI 3.1, as it is served at /api/v1/openapi.json."""
    click.echo(as_json(described()))


@api.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """What the API can do: method, address, and the scope that a token needs for it."""
    rows = [(one.method, one.rule, one.scope or ("no token" if one.public else "any token")) for one in OPERATIONS]
    lines = [f"{method:<6}  {rule:<42}  {scope}" for method, rule, scope in rows]
    desk.show([{"method": m, "path": r, "scope": s} for m, r, s in rows], *lines)

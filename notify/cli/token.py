"""Tokens: the keys by which the shop's own scripts use the API."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.roles import SCOPES
from notify.flows import api_tokens as flow


@click.group("token", cls=Group)
def token() -> None:
    """Keys for the shop's own scripts, each with what it may do. A script shows its key with every request."""


@token.command("add")
@click.argument("name")
@click.option("--scope", "scopes", multiple=True, type=click.Choice(list(SCOPES)), required=True,
              help="What the script may do; give it several times.")  # fmt: skip
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help="The last day on which it opens anything.")
@pass_desk
def add(desk: Desk, name: str, scopes: tuple[str, ...], until: datetime | None) -> None:
    """A new token for the script NAME ("books at night"). It is shown this once."""
    ends = datetime.combine(until.date() + timedelta(days=1), time(0), desk.zone) if until else None
    made = flow.make_token(desk.ctx, desk.actor, name=name, scopes=scopes, expires_at=ends)
    desk.show(made, f"For {made.name}: {', '.join(made.scopes)}. The token is shown this once:", made.secret)


@token.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """The tokens that were not revoked: for what, what they may do, when they were last used (by day, UTC)."""
    found = flow.list_tokens(desk.ctx, desk.actor)
    rows = [
        (one.id[-8:], one.name, " ".join(one.scopes), desk.when(one.made_at), one.by or "-", one.used_on or "never",
         "ended" if one.ended else desk.when(one.expires_at))
        for one in found
    ]  # fmt: skip
    head = ("id", "for", "may", "made", "by", "used", "until")
    desk.show(found, *(table(rows, head=head) or ["No script has a token."]))


@token.command("revoke")
@click.argument("token_id", metavar="ID")
@pass_desk
def revoke(desk: Desk, token_id: str) -> None:
    """Ends a token at once; ID is its identifier, or the end of it, from `token list`."""
    found = [one for one in flow.list_tokens(desk.ctx, desk.actor) if token_id and one.id.endswith(token_id)]
    meant = found[0].id if len(found) == 1 else token_id
    flow.revoke_token(desk.ctx, desk.actor, meant)
    desk.show({"token": meant}, "That token opens nothing any more.")

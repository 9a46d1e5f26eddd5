"""Feeds: the secret address under which the shop's own calendar reads its pickups."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.flows import feeds as flow


@click.group("feed", cls=Group)
def feed() -> None:
    """The shop's own calendar: an address to subscribe to, for each device or person a different one."""


@feed.command("make")
@click.argument("name")
@pass_desk
def make(desk: Desk, name: str) -> None:
    """A new secret address for NAME ("phone at the counter"). It is shown this once."""
    made = flow.make_feed(desk.ctx, desk.actor, name)
    where = [made.link, made.webcal] if made.link else [f"the address of this service, then {made.path}"]
    desk.show(made, "Whoever has this address sees your pickups. It is shown this once:", *where)


@feed.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """The addresses that answer, with when and by whom they were made."""
    found = flow.list_feeds(desk.ctx, desk.actor)
    rows = [(one.id[-8:], one.name, desk.when(one.made_at), one.by or "-") for one in found]
    desk.show(found, *(table(rows, head=("id", "for", "made", "by")) or ["No calendar reads your pickups."]))


@feed.command("revoke")
@click.argument("feed_id", metavar="ID")
@pass_desk
def revoke(desk: Desk, feed_id: str) -> None:
    """Ends an address; ID is its identifier, or the end of it, from `feed list`."""
    found = [one for one in flow.list_feeds(desk.ctx, desk.actor) if feed_id and one.id.endswith(feed_id)]
    meant = found[0].id if len(found) == 1 else feed_id
    flow.revoke_feed(desk.ctx, desk.actor, meant)
    desk.show({"feed": meant}, "That address answers no more.")

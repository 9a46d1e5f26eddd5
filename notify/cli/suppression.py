"""Addresses at which nothing is wanted any more: a list of days, for nothing else is known of them."""

from __future__ import annotations

import click

from notify.cli.backup import keep_list_beside
from notify.cli.desk import Desk, Group, pass_desk
from notify.core.consent import REACH_CHANNELS
from notify.flows import suppressions
from notify.flows.suppressions import Listed
from notify.render.consent_says import CHANNELS, REASONS

_CHANNEL = click.Choice(REACH_CHANNELS)


@click.group("suppression", cls=Group)
def suppression() -> None:
    """Who wants nothing more by a channel. Only a keyed hash of each address is kept."""


@suppression.command("list")
@pass_desk
def list_all(desk: Desk) -> None:
    """How many there are, and since when; whose they are nobody can tell."""
    found = suppressions.listed(desk.ctx, desk.actor)
    standing = [one for one in found if one.ended_at is None]
    desk.show(
        {"standing": len(standing), "rows": found}, f"Standing: {len(standing)}.", *(_line(desk, o) for o in found)
    )


def _line(desk: Desk, one: Listed) -> str:
    ended = f"; ended {desk.dated(one.ended_at)}" if one.ended_at else ""
    return f"{desk.dated(one.at)}: no {CHANNELS[one.channel]}, said {REASONS.get(one.reason, one.reason)}{ended}"


@suppression.command("add")
@click.argument("channel", type=_CHANNEL)
@click.argument("address")
@pass_desk
def add(desk: Desk, channel: str, address: str) -> None:
    """Never write to this number or address again, whoever brings it."""
    new = suppressions.add(desk.ctx, desk.actor, channel=channel, address=address)
    keep_list_beside(desk.services)
    desk.show({"new": new}, "Noted." if new else "It was noted before.")


@suppression.command("end")
@click.argument("channel", type=_CHANNEL)
@click.argument("address")
@click.option("--wanted", is_flag=True, help="You asked: whoever is reached there wants messages again.")
@pass_desk
def end(desk: Desk, channel: str, address: str, wanted: bool) -> None:
    """End a stop. It allows nothing by itself: what they want is noted with `consent give`."""
    suppressions.end(desk.ctx, desk.actor, channel=channel, address=address, wanted=wanted)
    keep_list_beside(desk.services)
    desk.show({"ended": True}, "Ended. Note what they allow: shelfbell consent give NUMBER CHANNEL")

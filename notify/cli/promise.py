"""The ready time told to the customer: set it, or have one suggested."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.flows import promises


@click.group("promise", cls=Group)
def promise() -> None:
    """Ready times. NUMBER is the claim number."""


@promise.command("set")
@click.argument("number")
@click.argument("at")
@click.option("--why", type=click.Choice(promises.WHY), default="other", show_default=True)
@pass_desk
def set_(desk: Desk, number: str, at: str, why: str) -> None:
    """Promise AT (2026-11-26T11:30 by the shop's clock); a changed promise is told with its reason."""
    moment = desk.instant(at, field="promise")
    promises.promise(desk.ctx, desk.actor, desk.meant(number).ticket_id, moment, why=why)
    desk.show({"promise": moment}, f"Promised: {desk.when(moment)}.")


@promise.command("suggest")
@click.argument("number")
@pass_desk
def suggest(desk: Desk, number: str) -> None:
    """A time from the parts' due dates, the queue before it and the opening hours."""
    found = promises.suggest(desk.ctx, desk.actor, desk.meant(number).ticket_id)
    told = f"Suggested: {desk.when(found)}." if found else "No time can be foreseen yet: a question or a part is open."
    desk.show({"suggested": found}, told)

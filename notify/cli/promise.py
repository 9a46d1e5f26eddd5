"""The ready time told to the customer: set it, have one suggested, and see how such times were kept."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.flows import forecast, promises, view_promises


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
    """The time that could be promised now, by parts, line, hours and how long such repairs take here."""
    found = forecast.suggest(desk.ctx, desk.actor, desk.meant(number).ticket_id)
    told = f"Suggested: {desk.when(found)}." if found else "No time can be named yet; `forecast show` says why."
    desk.show({"suggested": found}, told)


@promise.command("report")
@pass_desk
def report(desk: Desk) -> None:
    """How promises were kept in the last year. It changes nothing."""
    from notify.web.counter import promises_says as says  # its pages come with it: not for the other commands

    seen = view_promises.view(desk.ctx, desk.actor)
    sentences = (says.verdict(seen), says.against_wanted(seen), says.learned(seen), says.drift(seen))
    causes = [(why or "-", number) for why, number in seen.changed]
    desk.show(
        seen, *(one for one in sentences if one), "", *table(says.rows(seen) + says.scores(seen)), says.left_out(seen),
        *table(says.tenths(seen.losses) if seen.losses else (), head=("in its forecast", "devices")),
        *table(says.kinds(seen), head=("kind", "due", "kept")), *table(causes, head=("told of the broken", "devices")),
    )  # fmt: skip

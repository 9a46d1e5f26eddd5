"""How many pickups a slot may hold, in words and numbers."""

from __future__ import annotations

import click

from notify.cli import pickup_answers  # noqa: F401 - its commands stand in the same group
from notify.cli.desk import Desk, pass_desk, table
from notify.cli.pickup import pickup
from notify.flows.view_capacity import WhatIf, view


@pickup.command("capacity")
@click.option("--people", type=float, help="Try so many people at the counter.")
@click.option("--minutes", type=float, help="Try so many minutes for one handover.")
@click.option("--spread", type=float, help="Try so many minutes early or late (standard deviation).")
@click.option("--no-show", type=float, help="Try so many of 100 who do not come.")
@click.option("--walk-ins", type=float, help="Try so many people without a time in each slot.")
@pass_desk
def capacity(
    desk: Desk, people: float | None, minutes: float | None, spread: float | None, no_show: float | None,
    walk_ins: float | None,
) -> None:  # fmt: skip
    """How many people a slot may hold without a queue. It changes nothing; options only try other figures."""
    from notify.web.counter import capacity_says as says  # its pages come with it: not for the other commands

    share = None if no_show is None else no_show / 100
    seen = view(desk.ctx, desk.actor, WhatIf(people, minutes, spread, share, walk_ins))
    rows = [
        (row["per_slot"], row["over"], row["mean"], "<- give this" if row["best"] else "") for row in says.table(seen)
    ]
    figures = [(one["label"], says.as_typed(one["name"], seen), one["hint"]) for one in says.figures(seen)]
    more = [one for one in (says.now(seen), says.split(seen), says.without(seen)) if one]
    desk.show(
        seen, says.advice(seen), *more, "",
        *table(rows, head=("with a time", "wait too long, of 100", "minutes on average", "")), "", *table(figures),
    )  # fmt: skip

"""The records of erasing as a command: when, why, how much, proved when, and what may still hold it."""

from __future__ import annotations

import click

from notify.cli.desk import Command, Desk, pass_desk, table
from notify.flows import view_erasures as flow


@click.group("erasure")
def erasure() -> None:
    """The records of erasing. No person is named in any."""


@erasure.command("list", cls=Command)
@pass_desk
def list_(desk: Desk) -> None:
    """Every record, the newest first."""
    from notify.web.counter import erasures_says as says  # its pages come with it: not for the other commands

    found = flow.view(desk.ctx, desk.actor, desk.settings)
    rows = [
        (one.id[:8], desk.dated(one.at), says.why(one), desk.dated(one.confirmed_at) if one.confirmed_at else "not yet")
        for one in found
    ]
    desk.show(found, *(table(rows, head=("record", "when", "why", "proved")) or ["Nobody was erased yet."]))


@erasure.command("show", cls=Command)
@click.argument("record")
@pass_desk
def show(desk: Desk, record: str) -> None:
    """One record, by the first letters of its identifier."""
    from notify.web.counter import erasures_says as says

    one = flow.one(desk.ctx, desk.actor, desk.settings, record)
    proof = desk.dated(one.confirmed_at) if one.confirmed_at else "not yet"
    desk.show(
        one, f"{desk.dated(one.at)}: {says.why(one)}. Proved: {proof}.",
        *table(says.counts(one), head=("what", "rows")),
        *says.backups(one), "Out of reach:", *(f"  {what}" for what in says.OUT_OF_REACH),
    )  # fmt: skip

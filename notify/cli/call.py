"""Calls to make: the list with the sentence to say, and how a call went."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.flows import calls, view_calls
from notify.flows.view_lookup import find_call


@click.group("call", cls=Group)
def call() -> None:
    """Whom to phone when no message can reach them."""


@call.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Whom to call, why, and what to say. CALL in `call log` is the beginning of its identifier."""
    view = view_calls.view(desk.ctx, desk.actor)
    lines: list[str] = []
    for one in view.calls:
        again = f", again {desk.when(one.again_at)}" if one.again_at else ""
        who = f"{one.person or 'no name'}  {one.phone or 'no number'}"
        lines.append(f"{one.message_id[:8]}  {one.ticket.number}  {who}{again}")
        lines += [f"    {line}" for line in one.sentence.splitlines() if line]
    desk.show(view, *(lines or ["Nobody has to be called."]))


@call.command("log")
@click.argument("call")
@click.argument("result", type=click.Choice(calls.RESULTS))
@click.option("--note", default="", help="What was said.")
@pass_desk
def log(desk: Desk, call: str, result: str, note: str) -> None:
    """Note how a call went; nobody_there keeps it on the list."""
    calls.log_call(desk.ctx, desk.actor, find_call(desk.ctx, desk.actor, call), result=result, note=note)
    desk.show({"result": result}, "Noted.")

"""Messages: what became of each, and one as its reader sees it."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.flows import view_messages
from notify.flows.view_lookup import find_message


@click.group("message", cls=Group)
def message() -> None:
    """Messages, the ones not sent as well."""


@message.command("list")
@click.option("--page", type=click.IntRange(1), default=1, show_default=True)
@pass_desk
def list_(desk: Desk, page: int) -> None:
    """Newest first, each with its state and the reason for it."""
    view = view_messages.view(desk.ctx, desk.actor, page=page)
    rows = [
        (m.id[:8], desk.when(m.at), m.number, m.notice, m.channel or "-", m.to or "-", m.state, m.reason)
        for m in view.lines
    ]  # fmt: skip
    more = [f"More: shelfbell message list --page {page + 1}"] if view.has_older else []
    head = ("message", "when", "number", "notice", "channel", "to", "state", "reason")
    desk.show(view, *table(rows, head=head), f"{view.waiting} waiting", *more)


@message.command("show")
@click.argument("message")
@pass_desk
def show(desk: Desk, message: str) -> None:
    """One message: subject, text, and what the other side said at each try."""
    view = view_messages.view_one(desk.ctx, desk.actor, find_message(desk.ctx, desk.actor, message))
    line = view.line
    lines = [f"{line.notice} by {line.channel or 'no channel'} to {line.to or ('the shop' if line.shop else '-')}: "
             f"{line.state} {line.reason}".rstrip(), view.subject]  # fmt: skip
    tries = [f"  {desk.when(t.at)} {t.verdict} {t.code} {t.text}".rstrip() for t in view.tries]
    desk.show(view, *(text for text in [*lines, view.text or view.sms or view.say] if text), *tries)

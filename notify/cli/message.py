"""Messages: what became of each, and one as its reader sees it."""

from __future__ import annotations

import click

from notify.cli.desk import PAGE, Desk, Group, pass_desk, table
from notify.cli.messages import HEAD, map_rows
from notify.flows import resend as flow
from notify.flows import view_message_list, view_messages
from notify.flows.resend import REASONS
from notify.flows.view_lookup import find_message


@click.group("message", cls=Group)
def message() -> None:
    """Messages, the ones not sent as well."""


@message.command("list")
@click.option("--page", type=PAGE, default=1, show_default=True)
@pass_desk
def list_(desk: Desk, page: int) -> None:
    """All of them; `shelfbell messages` looks closer."""
    view = view_message_list.view(desk.ctx, desk.actor, page=page)
    more = [f"More: shelfbell message list --page {page + 1}"] if view.has_older else []
    desk.show(view, *table(map_rows(desk, (*view.failed, *view.lines)), head=HEAD), f"{view.waiting} waiting", *more)


@message.command("resend")
@click.argument("message")
@click.option("--reason", type=click.Choice(REASONS), required=True, help="Why; it stands in the ticket's story.")
@pass_desk
def resend(desk: Desk, message: str, reason: str) -> None:
    """Send a message once more, if it is still true; says why not otherwise."""
    found = find_message(desk.ctx, desk.actor, message)
    made = flow.resend(desk.ctx, desk.actor, found, reason=reason, look=desk.services.dispatcher.look)
    said = f"It leaves {desk.when(made.until)}." if made.until else "It leaves with the next ones."
    desk.show(made, f"{made.message_id[:8]} by {made.channel}. {said}")


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

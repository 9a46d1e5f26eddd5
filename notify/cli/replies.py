"""What customers and strangers wrote back, and noting that somebody has read it."""

from __future__ import annotations

import click

from notify.cli.desk import PAGE, Command, Desk, Group, pass_desk
from notify.flows import replies as flow
from notify.flows import view_replies
from notify.flows.view_replies import ReplyLine

_WHO = {"customer": "", "somebody_else": "somebody else", "stranger": "a stranger"}


@click.command("replies", cls=Command)
@click.option("--page", type=PAGE, default=1, show_default=True)
@pass_desk
def replies(desk: Desk, page: int) -> None:
    """What was written back, newest first, with what was read out of it. REPLY is the beginning of its identifier."""
    seen = view_replies.view(desk.ctx, desk.actor, page=page)
    lines = [line for one in seen.lines for line in _told(desk, one)]
    more = [f"More: shelfbell replies --page {page + 1}"] if seen.has_older else []
    desk.show(seen, *(lines or ["Nobody has written back."]), f"{seen.new} not looked at yet", *more)


def _told(desk: Desk, one: ReplyLine) -> list[str]:
    state = "new" if one.is_new else ("done" if one.done else f"seen by {one.by or 'somebody'}")
    who = " ".join(part for part in (one.person, _WHO[one.who], one.sender) if part)
    head = f"{one.id[:8]}  {desk.when(one.at)}  {one.number or '-'}  {one.kind}  {state}  {who}"
    due = [f"    answer by {one.answer_by:%d %b %Y}"] if one.answer_by else []
    return [head, *due, *(f"    {line}" for line in [one.subject, *one.text.splitlines()] if line)]


@click.group("reply", cls=Group)
def reply() -> None:
    """One reply."""


@reply.command("seen")
@click.argument("reply")
@pass_desk
def seen(desk: Desk, reply: str) -> None:
    """Note that you have read a reply; it leaves the day sheet."""
    reply_id = view_replies.find_reply(desk.ctx, desk.actor, reply)
    flow.mark_seen(desk.ctx, desk.actor, reply_id)
    desk.show({"reply": reply_id}, "Noted.")

"""All messages as the owner looks at them: the failed ones first, filtered, and what text messages cost."""

from __future__ import annotations

import click

from notify.cli.desk import PAGE, Desk, Group, pass_desk, table
from notify.core.cost import minor_units
from notify.core.message_groups import GROUPS
from notify.core.money import show_amount
from notify.core.notices import NOTICES
from notify.flows import view_cost, view_message_list
from notify.flows.view_message_list import CHANNELS, Filter, MessageList
from notify.flows.view_messages import MessageLine

HEAD = ("message", "when", "number", "notice", "channel", "to", "state", "reason", "heard")


@click.group("messages", cls=Group, invoke_without_command=True)
@click.option("--state", "group", type=click.Choice(tuple(GROUPS)), default=None, help="What became of them.")
@click.option("--notice", type=click.Choice(tuple(NOTICES)), default=None, help="One kind only.")
@click.option("--channel", type=click.Choice(CHANNELS), default=None)
@click.option("--number", default="", help="About the ticket with this claim number only.")
@click.option("--page", type=PAGE, default=1, show_default=True)
@pass_desk
@click.pass_context
def messages(
    context: click.Context, desk: Desk, group: str | None, notice: str | None, channel: str | None, number: str,
    page: int,
) -> None:  # fmt: skip
    """Messages, the failed ones first; with the oldest that waits, and how they were heard of since."""
    if context.invoked_subcommand is None:
        only = Filter(group or "", notice or "", channel or "", number)
        view = view_message_list.view(desk.ctx, desk.actor, page=page, only=only)
        desk.show(view, *_lines(desk, view, page))


def _lines(desk: Desk, view: MessageList, page: int) -> list[str]:
    failed = ["What needs somebody:", *table(map_rows(desk, view.failed), head=HEAD), ""] if view.failed else []
    more = [f"More: --page {page + 1}"] if view.has_older else []
    return [*failed, *table(map_rows(desk, view.lines), head=HEAD), *_waiting(desk, view), *more]


def _waiting(desk: Desk, view: MessageList) -> list[str]:
    out = [f"{view.waiting} waiting"]
    if view.oldest is not None:
        why = f": {view.oldest.line.reason}" if view.oldest.line.reason else ""
        out.append(f"The oldest, {view.oldest.line.id[:8]}, since {desk.when(view.oldest.since)}{why}")
    if view.late:
        minutes = int(view.late_for.total_seconds() // 60)
        out.append(f"ALARM: {view.late} should have left and have not, the longest for {minutes} minutes")
    return out


def map_rows(desk: Desk, lines: tuple[MessageLine, ...]) -> list[tuple[str, ...]]:
    """One row of the table for each message."""
    return [
        (m.id[:8], desk.when(m.at), m.number, m.notice, m.channel or "-", _to(m), m.state, m.reason or "-", _heard(m))
        for m in lines
    ]


def _to(m: MessageLine) -> str:
    return m.to or m.staff or ("the shop" if m.shop else "-")


def _heard(m: MessageLine) -> str:
    return " ".join(part for part in (m.delivery, "perhaps twice" if m.perhaps_twice else "") if part) or "-"


@messages.command("cost")
@pass_desk
def cost(desk: Desk) -> None:
    """What text messages cost in the last twelve months: parts times the setting sms_part_price."""
    view = view_cost.view(desk.ctx, desk.actor)

    def money(amount: object) -> str:
        if amount is None:
            return "-"
        minor = minor_units(amount, currency=view.currency)  # type: ignore[arg-type]  # Decimal
        return show_amount(minor, currency=view.currency, language="en")

    rows = []
    for month in view.months:
        rows.append((f"{month.first:%Y-%m}", "all", month.messages, month.parts, money(month.amount)))
        rows += [("", one.notice, one.messages, one.parts, money(one.amount)) for one in month.by_notice]
    price = f"One part costs {view.price} {view.currency} now." if view.price is not None else (
        "No price is set: shelfbell shop set sms_part_price=0.045")  # fmt: skip
    desk.show(view, *table(rows, head=("month", "notice", "texts", "parts", "cost")), price)

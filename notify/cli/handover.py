"""Give devices back at the counter, and take a handover back."""

from __future__ import annotations

import sys

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.core.claim_number import show_number
from notify.core.errors import Invalid
from notify.core.scan import read_scan
from notify.core.tickets import UNDO_HANDOVER_REASONS
from notify.flows import handover as flow


@click.group("handover", cls=Group)
def handover() -> None:
    """Hand devices back against the claim ticket. The claim number alone releases nothing."""


@handover.command("give")
@click.argument("numbers", nargs=-1, required=True)
@click.option("--scan", default="", help="What the scanner read from the claim ticket; - reads a line instead.")
@click.option("--checked", default="", help="Or, in words, how you made sure who this is.")
@click.option("--to", default="", help="Who takes it, when it is not the one who brought it.")
@pass_desk
def give(desk: Desk, numbers: tuple[str, ...], scan: str, checked: str, to: str) -> None:
    """Give the devices with these claim NUMBERS of one visit back."""
    chosen = [desk.meant(number) for number in numbers]
    # A claim secret in the command line could be seen in the list of processes: "-" keeps it out of there.
    text = sys.stdin.readline() if scan == "-" else scan
    done = flow.hand_back(desk.ctx, desk.actor, ticket_ids=[one.ticket_id for one in chosen],
                          token=_secret(desk, text), checked=checked, to=to)  # fmt: skip
    shown = ", ".join(show_number(one.number) for one in chosen)
    desk.show({"visit": done.visit_id, "event": done.event_id, "numbers": [c.number for c in chosen]},
              f"Handed back: {shown}.")  # fmt: skip


@handover.command("undo")
@click.argument("number")
@click.option("--reason", type=click.Choice(UNDO_HANDOVER_REASONS), required=True)
@pass_desk
def undo(desk: Desk, number: str, reason: str) -> None:
    """The device is back on the shelf: it went to the wrong person, or came back at once."""
    flow.undo_handover(desk.ctx, desk.actor, desk.meant(number).ticket_id, reason=reason)
    desk.show({"undone": True}, f"{number} is on the shelf again.")


def _secret(desk: Desk, text: str) -> str:
    if not text.strip():
        return ""
    found = read_scan(text, base_url=desk.ctx.public_url)
    if found.kind != "claim":
        raise Invalid("This is not the code of a claim ticket", "Scan the ticket, or use --checked.", field="scan")
    return found.value

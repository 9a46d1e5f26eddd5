"""Give devices back at the counter, and take a handover back."""

from __future__ import annotations

import sys

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.core.claim_number import show_number, show_pass_code
from notify.core.errors import Invalid, NotFound
from notify.core.scan import Scan, read_scan
from notify.core.tickets import UNDO_HANDOVER_REASONS
from notify.flows import handover as flow
from notify.flows import passes, view_ticket
from notify.flows.view_handover import view_handover


@click.group("handover", cls=Group)
def handover() -> None:
    """Hand devices back against the claim ticket. The claim number alone releases nothing."""


@handover.command("give")
@click.argument("numbers", nargs=-1, required=True)
@click.option("--scan", default="", help="What the scanner read from a claim ticket or pass; - reads a line instead.")
@click.option("--checked", default="", help="Or, in words, how you made sure who this is.")
@click.option("--to", default="", help="Who takes it, when it is not the one who brought it: a name given by them.")
@click.option("--paid", is_flag=True, help="What is left to pay was paid now.")
@click.option("--at", default="", help="For one done on paper: when, as 2026-11-26T11:30; --checked says by whom.")
@pass_desk
def give(desk: Desk, numbers: tuple[str, ...], scan: str, checked: str, to: str, paid: bool, at: str) -> None:
    """Give the devices with these claim NUMBERS of one visit back."""
    chosen = [desk.meant(number) for number in numbers]
    # A claim secret in the command line could be seen in the list of processes: "-" keeps it out of there.
    text = sys.stdin.readline() if scan == "-" else scan
    shown = _shown(desk, text)
    done = flow.hand_back(
        desk.ctx, desk.actor, ticket_ids=[one.ticket_id for one in chosen], checked=checked, paid_now=paid,
        token=shown.value if shown.kind == "claim" else "", pass_code=shown.value if shown.kind == "pass" else "",
        collector=_named(desk, chosen[0].ticket_id, to), at=desk.past(at),
    )  # fmt: skip
    numbers_shown = ", ".join(show_number(one.number) for one in chosen)
    desk.show({"visit": done.visit_id, "event": done.event_id, "how": done.how,
               "numbers": [c.number for c in chosen]}, f"Handed back: {numbers_shown}.")  # fmt: skip


@handover.command("undo")
@click.argument("number")
@click.option("--reason", type=click.Choice(UNDO_HANDOVER_REASONS), required=True)
@pass_desk
def undo(desk: Desk, number: str, reason: str) -> None:
    """The device is back on the shelf: it went to the wrong person, or came back at once."""
    flow.undo_handover(desk.ctx, desk.actor, desk.meant(number).ticket_id, reason=reason)
    desk.show({"undone": True}, f"{number} is on the shelf again.")


@handover.command("pass")
@click.argument("number")
@click.argument("name")
@pass_desk
def give_pass(desk: Desk, number: str, name: str) -> None:
    """Let NAME collect once for whoever brought NUMBER and stands here. The letters are shown only now."""
    given = passes.give(desk.ctx, desk.actor, _visit(desk, number), name=name)
    desk.show({"pass": given.pass_id, "letters": show_pass_code(given.code), "expires_at": given.expires_at},
              f"{show_pass_code(given.code)}, until {desk.when(given.expires_at)}. It counts once.")  # fmt: skip


@handover.command("revoke")
@click.argument("number")
@click.argument("name")
@pass_desk
def revoke_pass(desk: Desk, number: str, name: str) -> None:
    """Take back the passes that NAME has to collect for the visit of NUMBER."""
    visit_id = _visit(desk, number)
    seen = view_handover(desk.ctx, desk.actor, visit_id)
    found = [one for one in seen.collectors if one.pass_id and _same(one.name, name)]
    if not found:
        raise NotFound("Nobody of that name has a pass", "Look at the handover page, or ask for the name again.")
    for one in found:
        passes.revoke(desk.ctx, desk.actor, visit_id, one.pass_id)
    desk.show({"revoked": len(found)}, "The pass is taken back.")


def _visit(desk: Desk, number: str) -> str:
    return view_ticket.view(desk.ctx, desk.actor, desk.meant(number).ticket_id).line.visit_id


def _same(name: str, typed: str) -> bool:
    return name.casefold() == " ".join(typed.split()).casefold()


def _shown(desk: Desk, text: str) -> Scan:
    if not text.strip():
        return Scan("nothing")
    found = read_scan(text, base_url=desk.ctx.public_url)
    if found.kind not in ("claim", "pass"):
        raise Invalid("This is neither a claim ticket nor a pass", "Scan its code, or use --checked.", field="scan")
    return found


def _named(desk: Desk, ticket_id: str, name: str) -> str:
    """The person of that name who may collect; empty for no name. Raises Invalid when nobody named them."""
    if not name.strip():
        return ""
    seen = view_handover(desk.ctx, desk.actor, view_ticket.view(desk.ctx, desk.actor, ticket_id).line.visit_id)
    known = [one for one in seen.collectors if _same(one.name, name)]
    if not known:
        raise Invalid("Nobody of that name may collect", "Write it in --checked, with how you made sure.", field="to")
    return known[0].id

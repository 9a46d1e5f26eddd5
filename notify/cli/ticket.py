"""Tickets: show, list, move, undo, notes, place, money, safety, a new claim link."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.cli.ticket_text import ticket_lines
from notify.core.tickets import MOVES, Phase
from notify.flows import contact_codes, desk_notes, holds, lost_ticket, moves, repair_kinds, view_ticket
from notify.flows.check_in_form import SAFETY_FLAGS
from notify.flows.view_list import list_tickets

_PHASES = click.Choice([phase.value for phase in Phase])
_REASONS = sorted({reason for move in MOVES for reason in move.reasons})


@click.group("ticket", cls=Group)
def ticket() -> None:
    """Look at tickets and move them. NUMBER is the claim number."""


@ticket.command("show")
@click.argument("number")
@pass_desk
def show(desk: Desk, number: str) -> None:
    """Everything about one ticket: where it stands, what may happen next, people (masked), parts, messages, story."""
    view = view_ticket.view(desk.ctx, desk.actor, desk.meant(number).ticket_id)
    desk.show(view, *ticket_lines(desk, view))


@ticket.command("list")
@click.option(
    "--phase", "phases", multiple=True, type=_PHASES, help="May be given several times; open ones if left out."
)
@click.option("--waits-on", "waits", type=click.Choice(["customer", "part", "bench", "nobody"]), default=None)
@pass_desk
def list_(desk: Desk, phases: tuple[str, ...], waits: str | None) -> None:
    """Tickets, the longest waiting first."""
    found = list_tickets(desk.ctx, desk.actor, phases=phases, waits=waits or "")
    rows = [
        (t.number, t.phase.value, t.waits_on.value, desk.when(t.since), desk.when(t.promise_at), t.shelf or "-",
         " ".join(t.safety) or "-", t.device or "(forgotten)")
        for t in found
    ]  # fmt: skip
    head = ("number", "phase", "waits on", "since", "promised", "shelf", "safety", "device")
    desk.show(found, *table(rows, head=head), f"{len(found)} ticket{'' if len(found) == 1 else 's'}")


@ticket.command("move")
@click.argument("number")
@click.argument("to", type=_PHASES)
@click.option(
    "--outcome", type=click.Choice(["repaired", "unrepaired"]), default=None, help="When it goes on the shelf."
)
@click.option("--reason", default="", help=f"Where one is needed: {', '.join(_REASONS)}.")
@click.option("--note", default="", help="In your own words; kept with the ticket.")
@click.option("--anyway", is_flag=True, help="Start although it still waits; --note says why.")
@click.option("--at", default="", help="When it happened, as 2026-11-26T11:30 of the shop's clock; now if left out.")
@pass_desk
def move(desk: Desk, number: str, to: str, outcome: str | None, reason: str, note: str, anyway: bool, at: str) -> None:
    """Move a ticket to another phase. A refused move says what is allowed."""
    meant = desk.meant(number)
    done = moves.move(desk.ctx, desk.actor, meant.ticket_id, to, outcome=outcome or "", reason=reason, note=note,
                      anyway=anyway, at=desk.past(at))  # fmt: skip
    told = f"{number} is now {done.ticket.phase.value}. Take it back with: shelfbell ticket undo {number}"
    desk.show({"number": meant.number, "phase": done.ticket.phase, "event": done.event_id}, told)


@ticket.command("undo")
@click.argument("number")
@pass_desk
def undo(desk: Desk, number: str) -> None:
    """Take the last move back within 90 seconds; messages not yet sent are withdrawn."""
    _take_back(desk, number, "")


@ticket.command("correct")
@click.argument("number")
@click.option("--reason", required=True, help="Why, in your own words.")
@pass_desk
def correct(desk: Desk, number: str, reason: str) -> None:
    """Take the last move back later than that, with a reason; owners only."""
    _take_back(desk, number, reason)


def _take_back(desk: Desk, number: str, reason: str) -> None:
    done = moves.undo(desk.ctx, desk.actor, desk.meant(number).ticket_id, reason=reason)
    desk.show({"phase": done.ticket.phase, "event": done.event_id}, f"{number} is {done.ticket.phase.value} again.")


@ticket.command("note")
@click.argument("number")
@click.argument("text")
@pass_desk
def note(desk: Desk, number: str, text: str) -> None:
    """Keep a note with a ticket."""
    desk_notes.add_note(desk.ctx, desk.actor, desk.meant(number).ticket_id, text=text)
    desk.show({"noted": True}, "Noted.")


@ticket.command("place")
@click.argument("number")
@click.argument("shelf")
@pass_desk
def place(desk: Desk, number: str, shelf: str) -> None:
    """Note where the device lies."""
    desk_notes.set_place(desk.ctx, desk.actor, desk.meant(number).ticket_id, shelf=shelf)
    desk.show({"shelf": shelf}, f"{number} lies at {shelf}.")


@ticket.command("kind")
@click.argument("number")
@click.argument("name", required=False, default="")
@pass_desk
def kind(desk: Desk, number: str, name: str) -> None:
    """Say what kind of repair it is (a name from `shelfbell kind list`); none takes it back."""
    repair_kinds.set_kind(desk.ctx, desk.actor, desk.meant(number).ticket_id, name)
    desk.show({"kind": name}, "Noted.")


@ticket.command("paid")
@click.argument("number")
@click.option("--price", default="", help="The price agreed.")
@click.option("--deposit", default="")
@click.option("--not-paid", is_flag=True, help="Takes it back.")
@pass_desk
def paid(desk: Desk, number: str, price: str, deposit: str, not_paid: bool) -> None:
    """Note that it is paid; or, with --price or --deposit alone, only that amount."""
    only_amount = bool(price or deposit)
    desk_notes.record_money(desk.ctx, desk.actor, desk.meant(number).ticket_id, price_agreed=price, deposit=deposit,
                            paid=False if not_paid else None if only_amount else True)  # fmt: skip
    desk.show({"noted": True}, "Noted.")


@ticket.command("safety")
@click.argument("number")
@click.argument("flags", nargs=-1, type=click.Choice(SAFETY_FLAGS))
@pass_desk
def safety(desk: Desk, number: str, flags: tuple[str, ...]) -> None:
    """Set the safety flags; none named clears them."""
    desk_notes.set_safety(desk.ctx, desk.actor, desk.meant(number).ticket_id, flags=flags)
    desk.show({"safety": flags}, f"Safety: {' '.join(flags) or 'no flag'}.")


@ticket.command("reissue")
@click.argument("number")
@pass_desk
def reissue(desk: Desk, number: str) -> None:
    """Replace a lost claim ticket: the old code no longer works. The number stays."""
    desk_notes.replace_claim_link(desk.ctx, desk.actor, desk.meant(number).ticket_id)
    desk.show({"replaced": True}, f"The old code is void. Print the new one: shelfbell print {number} claim-ticket.pdf")


@ticket.command("lost")
@click.argument("number")
@click.option("--code", default="", help="The code that the customer read out; left out: one is sent.")
@pass_desk
def lost(desk: Desk, number: str, code: str) -> None:
    """Prove a lost claim ticket by a code to the stored contact; the right one makes a new claim ticket."""
    visit_id = desk.meant(number).visit_id
    if not code:
        sent = contact_codes.send_code(desk.ctx, desk.actor, visit_id, purpose=lost_ticket.PURPOSE)
        told = f"A code is going to {sent.masked}. Then: shelfbell ticket lost {number} --code CODE"
        desk.show({"to": sent.masked, "channel": sent.channel, "expires_at": sent.expires_at}, told)
        return
    done = lost_ticket.renew(desk.ctx, desk.actor, visit_id, typed=code)
    told = f"The code is right, and the old claim ticket is void. Print: shelfbell print {number} claim-ticket.pdf"
    desk.show({"replaced": done.count}, told)


@ticket.command("lift-hold")
@click.argument("number")
@click.option("--checked", required=True, help="How you made sure who it is, in your own words.")
@pass_desk
def lift_hold(desk: Desk, number: str, checked: str) -> None:
    """Note that it was the customer who changed an address or number; the claim ticket is enough again."""
    holds.lift_hold(desk.ctx, desk.actor, desk.meant(number).visit_id, checked=checked)
    desk.show({"lifted": True}, "Noted. The claim ticket is enough again.")

"""Give devices back against a claim secret, or by a staff check; take a handover back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from notify.core import tickets as rules
from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.text import clean_block, clean_line
from notify.core.tickets import Phase
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.flows.moves import take_step
from notify.flows.record import record
from notify.store import bookings, notes, tickets
from notify.store.database import Unit
from notify.store.tickets import Job, Ticket


@dataclass(frozen=True, slots=True)
class HandedBack:
    """What was given back: the tickets, and the event of the whole handover."""

    visit_id: str
    ticket_ids: tuple[str, ...]
    event_id: str


def find_claim(ctx: Context, actor: Actor, token: str) -> Ticket:
    """The ticket whose claim secret was scanned; raises NotFound for an unknown or replaced one."""
    actor.need("hand_back")
    with ctx.db.read(actor.shop_id) as unit:
        return tickets.find_by_token_hash(unit, token_hash(token))


def hand_back(
    ctx: Context, actor: Actor, *, ticket_ids: Sequence[str], token: str = "", checked: str = "", to: str = ""
) -> HandedBack:
    """Gives devices of one visit back and tells it once.

    Either `token` is the scanned claim secret of one of the visit's tickets, or `checked` says in words
    how staff made sure who it is (the claim number alone is not enough). `to` names who took them, when
    not the bringer. Raises NotAllowed, Conflict (not on the shelf) or NotFound; then nothing is given back.
    """
    actor.need("hand_back")
    words, who = clean_block(checked, field="checked", limit=500), clean_line(to, field="to", limit=80)
    if not ticket_ids:
        raise Invalid("No device was named", "Choose at least one device.", field="ticket")
    with ctx.db.write(actor.shop_id) as unit:
        chosen = [tickets.get_job(unit, i) for i in dict.fromkeys(ticket_ids)]
        visit_id = _one_visit(chosen)
        how = _authority(unit, visit_id, token, words)
        for ticket in chosen:
            _check_on_shelf(ticket)
            step = rules.find_move(ticket.phase, Phase.HANDED_BACK)
            take_step(ctx, unit, actor, ticket, step, codes={"how": how})
        event = record(ctx, unit, actor, "handover_done", visit_id=visit_id,
                       codes={"how": how, "tickets": ",".join(t.id for t in chosen)})  # fmt: skip
        _note(ctx, unit, actor, chosen[0], event.id, words=words, who=who)
        _close_booking(ctx, unit, visit_id)
        return HandedBack(visit_id, tuple(t.id for t in chosen), event.id)


def _one_visit(chosen: Sequence[Job]) -> str:
    visits = {ticket.visit_id for ticket in chosen}
    if len(visits) != 1:
        raise Invalid("These devices belong to different visits", "Hand them back one visit at a time.", field="ticket")
    return visits.pop()


def _authority(unit: Unit, visit_id: str, token: str, words: str) -> str:
    if token:
        try:
            scanned = tickets.find_by_token_hash(unit, token_hash(token))
        except NotFound:
            raise NotAllowed(
                "This claim ticket is not valid here", "Ask for the newest one, or check who it is."
            ) from None
        if scanned.visit_id != visit_id:
            raise NotAllowed(
                "This claim ticket belongs to another visit", "Scan the ticket that came with this device."
            )
        return "claim_ticket"
    if len(words) < 5:
        raise NotAllowed(
            "A claim number alone does not release a device",
            "Scan the claim ticket, or write down how you made sure who this is.",
            field="checked",
        )
    return "staff_check"


def _check_on_shelf(ticket: Job) -> None:
    if ticket.phase is not Phase.ON_SHELF:
        number = show_number(ticket.number)
        if ticket.phase is Phase.HANDED_BACK:
            raise Conflict(f"{number} was handed back already", "Look at the ticket: it says when, and by whom.")
        raise Conflict(f"{number} is not on the shelf", "Finish the repair or put it on the shelf first.")


def _note(ctx: Context, unit: Unit, actor: Actor, ticket: Job, event_id: str, *, words: str, who: str) -> None:
    text = "\n".join(part for part in (f"Given to {who}" if who else "", words) if part)
    if text:
        notes.add_note(unit, ticket_id=ticket.id, person_id=ticket.person_id, text=text, at=ctx.clock(),
                       staff_id=actor.id, event_id=event_id)  # fmt: skip


def _close_booking(ctx: Context, unit: Unit, visit_id: str) -> None:
    booking = bookings.live_booking(unit, visit_id)
    still_here = any(phase is Phase.ON_SHELF for phase in tickets.phases_of_visit(unit, visit_id).values())
    if booking is not None and not still_here:
        bookings.close_booking(unit, booking, "kept", at=ctx.clock())


def undo_handover(ctx: Context, actor: Actor, ticket_id: str, *, reason: str) -> Job:
    """Takes one device back onto the shelf; `reason` is a code of UNDO_HANDOVER_REASONS. An event of its own."""
    actor.need("undo_handover")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        step = rules.find_move(ticket.phase, Phase.ON_SHELF)
        if step.event != "handover_undone":
            raise NotAllowed("This device was not handed back", "There is no handover to take back.")
        rules.check_reason(step, reason)
        return take_step(ctx, unit, actor, ticket, step, reason=reason).ticket

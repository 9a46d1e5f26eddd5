"""Small facts noted on a ticket: a note, the shelf place, money, safety flags, a new claim link."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.errors import Invalid, NotAllowed, NotFound
from notify.core.money import parse_amount
from notify.core.text import clean_block, clean_line
from notify.core.tickets import OPEN_PHASES, check_version
from notify.flows.check_in import token_hash
from notify.flows.check_in_form import SAFETY_FLAGS
from notify.flows.contact_codes import working_contacts
from notify.flows.context import Context
from notify.flows.handover import SHORTEST_CHECK
from notify.flows.record import record
from notify.store import notes, tickets, visits
from notify.store.database import Unit
from notify.store.tickets import Ticket


def add_note(ctx: Context, actor: Actor, ticket_id: str, *, text: str) -> None:
    """Keeps a note, sealed; raises Invalid for an empty one."""
    actor.need("look")
    words = clean_block(text, field="note")
    if not words:
        raise Invalid("The note is empty", "Write something first.", field="note")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_ticket(unit, ticket_id)
        notes.add_note(unit, ticket_id=ticket.id, person_id=ticket.person_id, text=words, at=ctx.clock(),
                       staff_id=actor.staff_id)  # fmt: skip


def set_place(ctx: Context, actor: Actor, ticket_id: str, *, shelf: str, seen_version: int | None = None) -> None:
    """Notes where the device lies. Raises Changed when the ticket is no longer as it was seen."""
    actor.need("move")
    place = clean_line(shelf, field="shelf", limit=20)
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_ticket(unit, ticket_id, lock=True)
        check_version(seen_version, ticket.version)
        tickets.change_ticket(unit, ticket, shelf=place)
        record(ctx, unit, actor, "place_changed", visit_id=ticket.visit_id, ticket_id=ticket.id)


def record_money(
    ctx: Context, actor: Actor, ticket_id: str, *, price_agreed: str = "", deposit: str = "",
    paid: bool | None = None, seen_version: int | None = None,
) -> None:  # fmt: skip
    """Notes a price, a deposit (text in the shop's currency; empty leaves it) or whether it is paid.

    Raises Changed when the ticket is no longer as it was seen.
    """
    actor.need("check_in")
    with ctx.db.write(actor.shop_id) as unit:
        currency = ctx.shop(unit).currency
        ticket = tickets.get_ticket(unit, ticket_id, lock=True)
        check_version(seen_version, ticket.version)
        columns: dict[str, Any] = {}
        for name, text in (("price_agreed", price_agreed), ("deposit", deposit)):
            if text.strip():
                columns[name] = _amount(text, currency=currency, field=name)
        if paid is not None:
            columns["paid"] = paid
        if not columns:
            raise Invalid("Nothing was entered", "Enter an amount, or tick paid.", field="paid")
        tickets.change_ticket(unit, ticket, **columns)
        record(ctx, unit, actor, "money_recorded", visit_id=ticket.visit_id, ticket_id=ticket.id,
               codes=dict.fromkeys(columns, 1))  # fmt: skip


def _amount(text: str, *, currency: str, field: str) -> int:
    try:
        return parse_amount(text, currency=currency)
    except Invalid as problem:
        raise Invalid(problem.what, problem.advice, field=field) from problem


def set_safety(ctx: Context, actor: Actor, ticket_id: str, *, flags: Sequence[str]) -> None:
    """Sets the safety flags (swollen, hot, leaking, wet); raises Invalid for another word."""
    actor.need("move")
    for flag in flags:
        if flag not in SAFETY_FLAGS:
            raise Invalid(f"{flag[:40]!r} is no safety flag", f"Use: {', '.join(SAFETY_FLAGS)}.", field="safety")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_ticket(unit, ticket_id, lock=True)
        tickets.change_ticket(unit, ticket, safety=list(dict.fromkeys(flags)))
        record(ctx, unit, actor, "safety_flag_changed", visit_id=ticket.visit_id, ticket_id=ticket.id,
               codes=dict.fromkeys(flags, 1))  # fmt: skip


def replace_claim_link(ctx: Context, actor: Actor, ticket_id: str) -> str:
    """Revokes a lost claim ticket's secret and issues a new one; the new secret. The number stays."""
    actor.need("reissue")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_ticket(unit, ticket_id, lock=True)
        return replace_within(ctx, unit, actor, ticket, how="staff", telling=True)


def replace_after_check(ctx: Context, actor: Actor, visit_id: str, *, checked: str) -> int:
    """The same for every ticket of a visit that is still with us, all or none; how many.

    `checked` says how staff made sure who it is, and is kept as a note: the new ticket will release the devices as any
    does. Raises NotAllowed without words, NotFound for no visit.
    """
    actor.need("reissue")
    words = clean_block(checked, field="sure", limit=500)
    if len(words) < SHORTEST_CHECK:
        raise NotAllowed("How did you make sure who this is?", "Write it in a few words.", field="sure")
    with ctx.db.write(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        count = len(replace_open_links(ctx, unit, actor, visit_id, how="staff"))
        first = tickets.tickets_of_visit(unit, visit_id)[0]
        notes.add_note(unit, ticket_id=first.id, person_id=first.person_id, text=words, at=ctx.clock(),
                       staff_id=actor.id)  # fmt: skip
        return count


def replace_open_links(ctx: Context, unit: Unit, actor: Actor, visit_id: str, *, how: str) -> tuple[str, ...]:
    """The new secrets of all open tickets of a visit, told once; inside the caller's transaction. NotFound for none."""
    here = [ticket for ticket in tickets.tickets_of_visit(unit, visit_id) if ticket.phase in OPEN_PHASES]
    if not here:
        raise NotFound("Nothing of this visit is with us any more", "There is nothing to hand back.")
    return tuple(replace_within(ctx, unit, actor, ticket, how=how, telling=ticket is here[0]) for ticket in here)


def replace_within(ctx: Context, unit: Unit, actor: Actor, ticket: Ticket, *, how: str, telling: bool) -> str:
    """A new secret for one ticket inside the caller's transaction. `how` is staff or contact_code.

    With `telling` every working contact of whoever brought it learns that the link was replaced.
    """
    token = claim_number.new_token(ctx.pick)
    told = working_contacts(ctx, unit, ticket.visit_id) if telling else {}
    tickets.change_ticket(unit, ticket, texts={"token": token}, token_hash=token_hash(token))
    record(ctx, unit, actor, "claim_link_replaced", visit_id=ticket.visit_id, ticket_id=ticket.id,
           codes={"how": how, **told})  # fmt: skip
    return token

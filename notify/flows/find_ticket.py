"""Which ticket something is about, for whoever has to go back to its page."""

from __future__ import annotations

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.flows.context import Context
from notify.store import parts, questions, tickets


def number_of(ctx: Context, actor: Actor, ticket_id: str) -> str:
    """The claim number as people read it, to say which ticket something happened to; raises NotFound."""
    with ctx.db.read(actor.shop_id) as unit:
        return show_number(tickets.get_ticket(unit, ticket_id).number)


def ticket_of_part(ctx: Context, actor: Actor, part_id: str) -> str:
    """The ticket that a part is for; raises NotFound."""
    with ctx.db.read(actor.shop_id) as unit:
        return parts.get_part(unit, part_id).ticket_id


def ticket_of_question(ctx: Context, actor: Actor, question_id: str) -> str:
    """The ticket that a question is about; raises NotFound."""
    with ctx.db.read(actor.shop_id) as unit:
        return questions.get_question(unit, question_id).ticket_id

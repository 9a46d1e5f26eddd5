"""Log how a call to a customer went: done, nobody there (again later), or no longer needed."""

from __future__ import annotations

from datetime import timedelta

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.messages import MessageState
from notify.core.text import clean_block
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import messages, notes, outbox, tickets
from notify.store.database import Unit
from notify.store.messages import Ending

RESULTS = ("told", "nobody_there", "not_needed")
AGAIN_AFTER = timedelta(hours=2)


def log_call(ctx: Context, actor: Actor, message_id: str, *, result: str, note: str = "") -> None:
    """Notes the result on the task and in the story. `nobody_there` keeps the task open.

    Raises Invalid for an unknown result, NotFound or Conflict when there is no such open task.
    """
    actor.need("log_call")
    if result not in RESULTS:
        raise Invalid(f"{result[:40]!r} is no result of a call", f"Use one of: {', '.join(RESULTS)}.", field="result")
    words = clean_block(note, field="note", limit=1000)
    with ctx.db.write(actor.shop_id) as unit:
        message = messages.get_message(unit, message_id)
        if message is None:
            raise NotFound("There is no such call to make", "Look at the list of calls again.")
        if message.state != MessageState.TO_CALL:
            raise Conflict("This call has been logged already", "Look at the ticket's story.")
        _end(ctx, unit, message, result)
        kind, _, thing = message.about.partition(":")
        ticket = tickets.get_ticket(unit, thing) if kind == "ticket" else tickets.tickets_of_visit(unit, thing)[0]
        event = record(ctx, unit, actor, "call_logged", visit_id=message.visit_id, ticket_id=ticket.id,
                       codes={"message": message.id, "result": result, "notice": message.notice})  # fmt: skip
        if words:
            notes.add_note(unit, ticket_id=ticket.id, person_id=ticket.person_id, text=words, at=ctx.clock(),
                           staff_id=actor.id, event_id=event.id)  # fmt: skip


def _end(ctx: Context, unit: Unit, message: messages.Message, result: str) -> None:
    now = ctx.clock()
    if result == "nobody_there":
        ending = Ending(message, MessageState.TO_CALL, reason=result, due_at=now + AGAIN_AFTER, tried=True)
    elif result == "told":
        ending = Ending(message, MessageState.CALLED, reason=result, tried=True)
    else:
        ending = Ending(message, MessageState.DROPPED, reason=result)
    outbox.settle(unit, [ending], now=now)

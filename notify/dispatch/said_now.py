"""What still holds when a message is written: the money left, whom the ticket waits on, whether a promise helps."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from notify.core.parts import MISSING, count_missing
from notify.core.questions import QuestionState
from notify.store import parts, questions
from notify.store.database import Unit
from notify.store.messages import Message
from notify.store.tickets import Ticket


def left_of(ticket: Ticket) -> int | None:
    """Nothing for a device that was not repaired: its price was for the repair."""
    if ticket.paid or ticket.outcome == "unrepaired":
        return 0
    return None if ticket.price_agreed is None else max(0, ticket.price_agreed - (ticket.deposit or 0))


def waits_on(unit: Unit, message: Message, ticket: Ticket, words: Callable[..., str]) -> str:
    """A sentence when something other than the bench is waited for: a question, for the shop also a part."""
    if not message.about.startswith("ticket:"):
        return ""
    if _is_asked(unit, ticket):
        return words("said.waits_for_answer" if message.person_id else "staff_waits_on.customer")
    lacks = count_missing(part.state for part in parts.parts_of(unit, ticket.id)) > 0
    return words("staff_waits_on.part") if lacks and not message.person_id else ""


def _is_asked(unit: Unit, ticket: Ticket) -> bool:
    return any(q.state == QuestionState.OPEN for q in questions.questions_of(unit, ticket.id))


def promise_helps(unit: Unit, message: Message, ticket: Ticket, *, now: datetime) -> bool:
    """Whether a customer should read the promise again: not once it is past, cannot be kept, or waits for them."""
    if not message.person_id or ticket.promise_at is None or message.notice == "promise_changed":
        return True
    missing = [p.due_at for p in parts.parts_of(unit, ticket.id) if p.state in MISSING and p.due_at is not None]
    too_late = any(due >= ticket.promise_at for due in missing)
    return ticket.promise_at > now and not too_late and not _is_asked(unit, ticket)

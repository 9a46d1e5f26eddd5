"""Reads what the second look needs to know about the thing a message speaks of."""

from __future__ import annotations

from datetime import datetime

from notify.core.second_look import Now
from notify.core.tickets import Phase
from notify.store import bookings, messages, questions, tickets
from notify.store.database import Unit
from notify.store.messages import Message


def todays_facts(unit: Unit, message: Message, *, now: datetime, quiet_until: datetime) -> Now:
    """Today's facts about the message's ticket or visit, its question and its booking."""
    refs = message.refs
    booking = bookings.get_booking(unit, str(refs.get("booking", "")))
    question_id = str(refs.get("question", ""))
    return Now(
        at=now,
        phases=_phases(unit, message),
        question_state=questions.get_question(unit, question_id).state if question_id else "",
        booking_state=booking.state if booking else "",
        booking_revision=booking.revision if booking else 0,
        told_revision=int(refs.get("revision", 0)),
        newer_waiting=messages.newer_waiting(unit, message),
        quiet_until=quiet_until,
        promise_current=_promise_current(unit, message),
        tried=messages.tried_ways(unit, message),
    )


def _phases(unit: Unit, message: Message) -> tuple[Phase, ...]:
    kind, _, thing = message.about.partition(":")
    phases = tickets.phases_of_visit(unit, message.visit_id)
    if kind == "ticket":
        return (phases[thing],)
    given = str(message.refs.get("tickets", "")).split(",") if message.notice == "handed_back" else ()
    return tuple(phase for ticket_id, phase in phases.items() if not given or ticket_id in given)


def _promise_current(unit: Unit, message: Message) -> bool:
    """Whether the promise a message tells is still the one that stands."""
    told = str(message.refs.get("new", ""))
    if message.notice != "promise_changed" or not told:
        return True
    stands = tickets.get_ticket(unit, message.about.partition(":")[2]).promise_at
    return stands is not None and stands == datetime.fromisoformat(told)

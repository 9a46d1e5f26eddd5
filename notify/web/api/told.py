"""From what flows show to what the API tells: codes, identifiers, RFC 3339 times; contact data only if allowed."""

from __future__ import annotations

from typing import Any

from notify.core.money import plain_amount
from notify.flows.view_deliveries import PartLine
from notify.flows.view_lines import TicketLine
from notify.flows.view_messages import MessageLine
from notify.flows.view_ticket import QuestionLine, TicketView
from notify.web.api.call import when

Told = dict[str, Any]


def amount(minor: int | None, currency: str) -> str | None:
    """Minor units as the API writes them; None for none."""
    return None if minor is None else plain_amount(minor, currency=currency)


def ticket(one: TicketLine, currency: str, *, contacts: bool) -> Told:
    """One ticket in a list; the name of whoever brought it only with `contacts`."""
    return {
        "id": one.ticket_id, "visit": one.visit_id, "number": one.number, "device": one.device,
        "device_class": one.device_class, "fault": one.fault, "phase": one.phase, "outcome": one.outcome,
        "reason": one.reason, "waits_on": one.waits_on, "since": when(one.since), "created_at": when(one.created_at),
        "promise_at": when(one.promise_at), "shelf": one.shelf, "safety": list(one.safety),
        "technician": one.technician, "person": one.person if contacts else None,
        "left": amount(one.left, currency), "forgotten": one.forgotten,
    }  # fmt: skip


def whole_ticket(seen: TicketView, currency: str, *, contacts: bool) -> Told:
    """One ticket with all that belongs to it. Nothing in it changes by time alone, since its tag is made of it."""
    money = {name: amount(getattr(seen, name), currency) for name in ("price_agreed", "price_limit", "deposit")}
    moves = [
        {"to": one.to, "event": one.event, "outcome": one.outcome, "reasons": list(one.reasons), "anyway": one.anyway}
        for one in seen.moves if not one.desk
    ]  # fmt: skip
    notes = [{"at": when(one.at), "by": one.by, "text": one.text} for one in seen.notes]
    return {
        **ticket(seen.line, currency, contacts=contacts), **money, "condition": seen.condition,
        "accessories": seen.accessories, "paid": seen.paid, "waits_here": seen.waits_here,
        "kind": seen.kind_id or None, "follows": seen.follows.ticket_id if seen.follows else None,
        "others": [one.ticket_id for one in seen.others], "moves": moves,
        "questions": [question(one, currency, contacts=contacts) for one in seen.questions],
        "parts": [part(one) for one in seen.parts], "booked_at": when(seen.booked_at),
        "notes": notes if contacts else None, "version": seen.version,
    }  # fmt: skip


def question(one: QuestionLine, currency: str, *, contacts: bool) -> Told:
    """One question; who answered it only with `contacts`."""
    return {
        "id": one.id, "kind": one.kind, "wording": one.wording, "price": amount(one.price, currency),
        "state": one.state, "answer": one.answer, "answers": list(one.options), "asked_at": when(one.asked_at),
        "expires_at": when(one.expires_at), "answered_at": when(one.answered_at),
        "said_by": one.said_by if contacts else None,
    }  # fmt: skip


def part(one: PartLine) -> Told:
    """One part."""
    return {
        "id": one.part_id, "ticket": one.ticket.ticket_id, "number": one.ticket.number, "name": one.name,
        "label": one.label, "state": one.state, "supplier": one.supplier, "due_at": when(one.due_at),
        "arrived_at": when(one.arrived_at),
    }  # fmt: skip


def message(one: MessageLine) -> Told:
    """One message in a list; its address stays masked for everybody."""
    return {
        "id": one.id, "ticket": one.ticket_id, "number": one.number, "notice": one.notice, "state": one.state,
        "reason": one.reason, "channel": one.channel, "to": one.to, "to_shop": one.shop, "at": when(one.at),
        "tries": one.tried, "delivery": one.delivery, "resend": one.resend,
    }  # fmt: skip

"""Why was she told, or not? The story of every message about a ticket: planned, waited, dropped, sent, delivered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.events import Event
from notify.core.messages import Delivery, MessageState
from notify.core.second_look import STANDS_ASIDE, WAITS_FOR_NEWER
from notify.flows.context import Context
from notify.flows.view_messages import MessageLine, message_lines
from notify.render.why_says import Step
from notify.store import events, messages, people, receipts, tickets
from notify.store.database import Unit
from notify.store.messages import Message

_DELIVERIES = frozenset(Delivery) - {Delivery.HANDED_OVER}


@dataclass(frozen=True, slots=True)
class Told:
    """One message with its story, the steps in the order they happened. `person` is who is told, "" for the shop."""

    line: MessageLine
    person: str
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Why:
    """Every message about a ticket or its whole visit, the newest first; `now` is when this was read."""

    ticket_id: str
    number: str
    now: datetime
    told: tuple[Told, ...]


def view(ctx: Context, actor: Actor, ticket_id: str) -> Why:
    """The stories of the ticket with this identifier; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        ticket = tickets.get_ticket(unit, ticket_id)
        mine = (f"ticket:{ticket.id}", f"visit:{ticket.visit_id}")
        whole = [m for m in messages.messages_of_visit(unit, ticket.visit_id) if m.about in mine][::-1]
        happened = {event.id: event for event in events.story_of(unit, visit_id=ticket.visit_id)}
        names = {
            i: one.name for i, one in people.people_by_id(unit, {m.person_id for m in whole if m.person_id}).items()
        }
        told = tuple(
            Told(line, names.get(message.person_id, ""), tuple(_story(unit, message, happened)))
            for message, line in zip(whole, message_lines(unit, whole), strict=True)
        )
        return Why(ticket.id, show_number(ticket.number), ctx.clock(), told)


def _story(unit: Unit, message: Message, happened: Mapping[str, Event]) -> Iterator[Step]:
    yield _planned(message, happened)
    if waited := _waited(message):
        yield waited
    tries = receipts.receipts_of(unit, message.id)
    yield from (_tried(message, one) for one in tries)
    if message.ambiguous and message.state == MessageState.SENT and message.attempts > 1:
        yield Step("twice", message.ended_at or message.due_at)
    elif message.ambiguous and message.state != MessageState.SENT:
        yield Step("perhaps", message.due_at)
    yield from _end(message)
    if message.delivery in _DELIVERIES and message.delivery not in {one.verdict for one in tries}:
        yield Step(str(message.delivery), message.delivery_at or message.due_at)


def _planned(message: Message, happened: Mapping[str, Event]) -> Step:
    if message.resend:
        return Step("resent", message.created_at)
    event = happened.get(str(message.refs.get("event", "")))
    return Step("planned", event.at, what=event.kind) if event else Step("planned_alone", message.created_at)


def _waited(message: Message) -> Step | None:
    """Why it did not leave at once, and until when."""
    if message.state == MessageState.WAITING:
        code = "aside" if message.reason == WAITS_FOR_NEWER else "leaves" if message.reason else "leaves_soon"
        return Step(code, message.due_at, why=message.reason)
    if message.waited in STANDS_ASIDE and message.free_at:
        return Step("waited", message.free_at, why=message.waited)
    return None


def _tried(message: Message, one: Any) -> Step:
    """What was said of one try, or heard later."""
    code = one.verdict if one.verdict in _DELIVERIES - {Delivery.UNKNOWN} else f"tried_{one.verdict}"
    return Step(code, one.at, way=message.channel, said=one.text)


def _end(message: Message) -> Iterator[Step]:
    """How it ended; that it left is said by its last try, unless staff logged a call."""
    at = message.ended_at or message.due_at
    if message.state == MessageState.TO_CALL:
        yield Step("to_call", message.due_at)
    elif message.state in (MessageState.CALLED, MessageState.DROPPED, MessageState.SKIPPED, MessageState.GIVEN_UP):
        yield Step(str(message.state), at, why=message.reason)

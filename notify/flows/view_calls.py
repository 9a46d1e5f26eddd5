"""What the list of calls shows: whom to phone, why, what to say, and what was said today."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.events import Event
from notify.core.messages import MessageState
from notify.core.notices import NOTICES
from notify.core.planner import why_no_reach
from notify.flows import contact_reads
from notify.flows.calls import AGAIN_AFTER
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine, day_bounds
from notify.store import events, messages, people, tickets
from notify.store.database import Unit
from notify.store.facts import gather as gather_facts
from notify.store.messages import Message

REACHABLE = "reachable"  # why a call stands there though an address or number has been put right since


@dataclass(frozen=True, slots=True)
class Call:
    """One call to make. `why` is `given_up`, a reason code of core/planner, or REACHABLE; `phone` is E.164 or empty.

    `tried_at` is the last try that reached nobody; `again_at` is when to try again.
    """

    message_id: str
    notice: str
    person_id: str
    person: str
    phone: str
    ticket: TicketLine
    why: str
    sentence: str
    tried_at: datetime | None
    again_at: datetime | None


@dataclass(frozen=True, slots=True)
class Logged:
    """One call logged today: what it was about, how it went (codes) and by whom."""

    at: datetime
    notice: str
    result: str
    ticket: TicketLine
    by: str


@dataclass(frozen=True, slots=True)
class Calls:
    """Calls to make, those to be tried again later last; and what was logged today, newest first."""

    calls: tuple[Call, ...]
    done: tuple[Logged, ...]


def view(ctx: Context, actor: Actor) -> Calls:
    """Who has to be called and who was. Phone numbers are whole here: somebody has to dial them."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        lines = Lines(unit)
        found = Calls(calls_to_make(ctx, unit, lines), _done(ctx, unit, lines))
    contact_reads.note(ctx, actor, "calls", numbers_in(found.calls))
    return found


def numbers_in(calls: Iterable[Call]) -> tuple[contact_reads.Seen, ...]:
    """Whose numbers stand in these calls, for the access log."""
    return tuple((one.person_id, None) for one in calls if one.phone)


def calls_to_make(ctx: Context, unit: Unit, lines: Lines) -> tuple[Call, ...]:
    """The open calls, inside the caller's transaction."""
    waiting = sorted(messages.list_messages(unit, states=(MessageState.TO_CALL,), limit=500), key=_order)
    about = lines.by_id({_ticket_of(unit, message) for message in waiting})
    known = people.people_by_id(unit, {message.person_id for message in waiting})
    contacts = people.contacts_of_all(unit, (one.id for one in known.values() if not one.forgotten))
    return tuple(
        _call(ctx, unit, message, about, known[message.person_id], contacts.get(message.person_id, ()))
        for message in waiting
    )


def _order(message: Message) -> tuple[datetime, int]:
    return message.due_at, message.seq


def _ticket_of(unit: Unit, message: Message) -> str:
    kind, _, thing = message.about.partition(":")
    return thing if kind == "ticket" else next(iter(tickets.phases_of_visit(unit, message.visit_id)))


def _call(
    ctx: Context, unit: Unit, message: Message, about: Mapping[str, TicketLine], person: people.Person,
    contacts: Iterable[people.Contact],
) -> Call:  # fmt: skip
    with_us = tickets.is_device_with_us(unit, message.visit_id)
    phone = people.number_to_call(contacts, device_with_us=with_us)
    later = message.reason == "nobody_there"
    return Call(
        message_id=message.id, notice=message.notice, person_id=person.id, person=person.name, phone=phone,
        ticket=about[_ticket_of(unit, message)], why=_why(ctx, unit, message),
        sentence=messages.get_sentence(unit, message), tried_at=message.due_at - AGAIN_AFTER if later else None,
        again_at=message.due_at if later and message.due_at > ctx.clock() else None,
    )  # fmt: skip


def _why(ctx: Context, unit: Unit, message: Message) -> str:
    same = (message.cause, message.notice, message.person_id)
    for other in messages.messages_of_visit(unit, message.visit_id):
        if (other.cause, other.notice, other.person_id) == same and other.state == MessageState.GIVEN_UP:
            return "given_up"
    facts = gather_facts(unit, message.visit_id, channels_on=ctx.channels_on, bell=timedelta(0))
    (person,) = people.recipients(unit, [message.person_id])
    return why_no_reach(NOTICES[message.notice], person, facts) or REACHABLE


def _done(ctx: Context, unit: Unit, lines: Lines) -> tuple[Logged, ...]:
    since, _ = day_bounds(ctx.shop(unit), ctx.today(ctx.shop(unit)))
    logged = [event for event in events.since(unit, since, limit=1000) if event.kind == "call_logged"]
    about = lines.by_id({event.ticket_id for event in logged})
    return tuple(_logged(event, about, lines) for event in logged)


def _logged(event: Event, about: Mapping[str, TicketLine], lines: Lines) -> Logged:
    codes = event.codes
    return Logged(event.at, str(codes.get("notice", "")), str(codes.get("result", "")), about[event.ticket_id],
                  lines.staff_name(event.actor_id))  # fmt: skip

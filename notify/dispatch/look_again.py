"""The second look: reads today's facts about what a message speaks of, and asks core whether it may leave."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from notify.core.quiet import allowed_at
from notify.core.second_look import Now, Verdict, look
from notify.core.shop import Shop
from notify.core.tickets import Phase
from notify.store import bookings, messages, people, questions, shops, tickets
from notify.store.database import Unit
from notify.store.facts import gather
from notify.store.messages import Message


@dataclass(frozen=True, slots=True)
class Rules:
    """The installation's rules of telling."""

    bell: timedelta
    quiet_from: time
    quiet_until: time
    channels_on: frozenset[str]


def look_at(unit: Unit, message: Message, rules: Rules, *, now: datetime) -> Verdict:
    """Whether a message may leave now, must wait or is dropped, by today's facts."""
    shop = shops.get_shop(unit, today=now.date())
    facts = gather(unit, message.visit_id, channels_on=rules.channels_on, bell=rules.bell)
    person = next(iter(people.recipients(unit, [message.person_id])), None) if message.person_id else None
    today = todays_facts(unit, message, now=now, quiet_until=_quiet_until(shop, rules, now))
    return look(message.notice, channel=message.channel, expires_at=message.expires_at, person=person,
                facts=facts, now=today)  # fmt: skip


def _quiet_until(shop: Shop, rules: Rules, now: datetime) -> datetime:
    return allowed_at(now, zones=[shop.zone], quiet_from=rules.quiet_from, quiet_until=rules.quiet_until)


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

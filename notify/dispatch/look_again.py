"""The second look: reads today's facts about what a message speaks of, and asks core whether it may leave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from notify.core.notices import CODE, NOTICES, TO_NAMED, WARNING
from notify.core.overtakes import News, Said, is_said, never_heard_ready, says_it_too
from notify.core.parts import PartState
from notify.core.second_look import Now, Verdict, look
from notify.core.tickets import OPEN_PHASES, Phase
from notify.dispatch.decent_hours import DecentHours
from notify.store import bookings, contact_codes, gone_home, messages, parts, people, questions, shops, tickets
from notify.store.database import Unit
from notify.store.facts import gather
from notify.store.messages import Message
from notify.store.rings import rings_today

# About those devices of a visit that went home, which the event named.
ABOUT_THE_GONE = frozenset({"handed_back", "all_well"})
# True only while the part that the event named stands where it stood (core/second_look).
ABOUT_PARTS = frozenset({"part_ordered", "part_arrived", "part_arrived_shop", "part_late_shop"})

ORDERED = PartState.ORDERED


@dataclass(frozen=True, slots=True)
class Rules:
    """The installation's rules of telling."""

    bell: timedelta
    hours: DecentHours
    channels_on: frozenset[str]


def look_at(unit: Unit, message: Message, rules: Rules, *, now: datetime) -> Verdict:
    """Whether a message may leave now, must wait or is dropped, by today's facts."""
    shop = shops.get_shop(unit, today=now.date())
    facts = gather(unit, message.visit_id, channels_on=rules.channels_on, bell=rules.bell)
    if not message.person_id:
        facts = replace(facts, rings=rings_today(unit, message.contact_id, shop, channels_on=rules.channels_on))
    person = next(iter(people.recipients(unit, [message.person_id])), None) if message.person_id else None
    today = todays_facts(unit, message, now=now)
    decent = rules.hours.next_for(unit, message, person, shop, now=now) if person and not person.forgotten else None
    if decent is not None:
        today = replace(today, quiet_until=decent.at, quiet_how=decent.how)
    return look(message.notice, channel=message.channel, expires_at=message.expires_at, person=person,
                facts=facts, now=today)  # fmt: skip


def todays_facts(unit: Unit, message: Message, *, now: datetime) -> Now:
    """Today's facts about the message's ticket or visit, its question, its booking, and what else was told."""
    refs = message.refs
    booking = bookings.get_booking(unit, str(refs.get("booking", "")))
    question_id = str(refs.get("question", ""))
    phases = tickets.phases_of_visit(unit, message.visit_id)
    others = messages.others_to(unit, message) if message.person_id else ()
    leaves_calendar = message.notice == "pickup_cancelled" and booking is not None and booking.invited
    news = _news(message, phases, must_go=leaves_calendar)
    return Now(
        at=now,
        phases=_phases(message, phases),
        question_state=questions.get_question(unit, question_id).state if question_id else "",
        part_state=_part_state(unit, message),
        booking_state=booking.state if booking else "",
        booking_revision=booking.revision if booking else 0,
        told_revision=int(refs.get("revision", 0)),
        has_booking=message.notice == "pickup_missed_note" and _has_booking(unit, message),
        overtaken=says_it_too(news, others),
        never_heard=message.notice == "called_back" and never_heard_ready(news, others),
        told_already=message.notice == "ready" and _told_already(unit, message, others),
        promise_current=_promise_current(unit, message),
        tried=messages.tried_ways(unit, message),
        came_back=message.notice == "all_well" and gone_home.came_back(unit, message.visit_id),
        **_named(unit, message, now=now),
    )


def _part_state(unit: Unit, message: Message) -> str:
    """Where the part of a message stands that is true only while it stands there."""
    part_id = str(message.refs.get("part", "")) if message.notice in ABOUT_PARTS else ""
    state = parts.state_of(unit, part_id) if part_id else ""
    if message.notice == "part_ordered" and state and _any_ordered(unit, part_id):
        return ORDERED.value  # it names all that is on its way by now, so it holds while anything is
    return state


def _any_ordered(unit: Unit, part_id: str) -> bool:
    """Whether anything is still on its way for the ticket that the part belongs to."""
    ticket_id = parts.get_part(unit, part_id).ticket_id
    return any(part.state == ORDERED for part in parts.parts_of(unit, ticket_id))


def _named(unit: Unit, message: Message, *, now: datetime) -> dict[str, Any]:
    """The one contact that a message is for; a warning goes to one that was replaced as well, it is about that."""
    purpose = NOTICES[message.notice].purpose
    if purpose not in TO_NAMED:
        return {}
    reach = people.reach_of(unit, message.contact_id, also_replaced=purpose == WARNING)
    code_open = purpose != CODE or contact_codes.is_open(unit, str(message.refs.get("code", "")), now=now)
    return {"named": reach, "code_open": code_open}


def _news(message: Message, phases: Mapping[str, Phase], *, must_go: bool) -> News:
    in_work = any(phase in OPEN_PHASES and phase is not Phase.ON_SHELF for phase in phases.values())
    return News(
        message.seq, message.notice, message.about, message.created_at, len(phases) == 1, not in_work, must_go
    )  # fmt: skip


def _phases(message: Message, phases: Mapping[str, Phase]) -> tuple[Phase, ...]:
    kind, _, thing = message.about.partition(":")
    if kind == "ticket":
        return (phases[thing],)
    given = str(message.refs.get("tickets", "")).split(",") if message.notice in ABOUT_THE_GONE else ()
    return tuple(phase for ticket_id, phase in phases.items() if not given or ticket_id in given)


def _told_already(unit: Unit, message: Message, others: Sequence[Said]) -> bool:
    """Whether the device whose turn this was is gone from the shelf, and those still on it were told before."""
    since = tickets.shelved_since(unit, message.visit_id)
    told = [one.composed_at for one in others if one.notice == "ready" and is_said(one) and one.composed_at]
    own = str(message.refs.get("ticket", ""))
    return bool(own and told and own not in since) and all(moment <= max(told) for moment in since.values())


def _has_booking(unit: Unit, message: Message) -> bool:
    return bookings.live_booking(unit, message.visit_id) is not None


# Of the notices about one promise, the code in which their event names it.
_PROMISE_IN = {"promise_changed": "new", "promise_threatened_shop": "promise"}


def _promise_current(unit: Unit, message: Message) -> bool:
    """Whether the promise a message tells, or speaks of, is still the one that stands."""
    told = str(message.refs.get(_PROMISE_IN.get(message.notice, ""), ""))
    if not told:
        return True
    stands = tickets.get_ticket(unit, message.about.partition(":")[2]).promise_at
    return stands is not None and stands == datetime.fromisoformat(told)

"""Writes down what became of claimed messages, a group at a time, and finds the next way for the refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.channels.base import Receipt, Verdict
from notify.core.events import Event
from notify.core.messages import MessageState
from notify.core.notices import NOTICES
from notify.core.planner import Planned, best_reach, plan
from notify.store import bookings, events, messages, outbox, people
from notify.store.database import Database, Unit
from notify.store.facts import gather
from notify.store.messages import Ending, Message, Told

# Codes of channels/base that say "this address does not exist" (RFC 5321 4.2.3), not "this message is unwelcome".
_BAD_ADDRESS = frozenset({"address", "rcpt-550", "rcpt-551", "rcpt-553"})


@dataclass(frozen=True, slots=True)
class Result:
    """What one claimed message came to."""

    message: Message
    state: MessageState
    reason: str = ""
    due_at: datetime | None = None
    channel: str = ""
    contact_id: str = ""
    receipt: Receipt | None = None

    @property
    def is_ambiguous(self) -> bool:
        """Whether nobody can know if it was accepted (RFC 1047)."""
        return self.receipt is not None and self.receipt.verdict is Verdict.UNKNOWN


def settle_all(
    db: Database, shop_id: str, results: Sequence[Result], *, now: datetime, channels_on: frozenset[str]
) -> None:
    """One transaction for the whole group."""
    with db.write(shop_id) as unit:
        results = [_told_after_all(unit, result, now=now) for result in results]
        outbox.add_receipts(unit, [_told(r.message, r.receipt) for r in results if r.receipt is not None], at=now)
        standing = outbox.settle(unit, [_ending(result) for result in results], now=now)
        for result in results:
            if result.message.id in standing:
                _follow_up(unit, result, now=now, channels_on=channels_on)


def _told_after_all(unit: Unit, result: Result, *, now: datetime) -> Result:
    """A message joined to a newer one that was withdrawn since the look has to be told itself."""
    if result.reason != outbox.JOINED or messages.newer_waiting(unit, result.message):
        return result
    return Result(result.message, MessageState.WAITING, due_at=now)


def _told(message: Message, receipt: Receipt) -> Told:
    return Told(message, receipt.verdict.value, receipt.code, receipt.text)


def _ending(result: Result) -> Ending:
    return Ending(result.message, result.state, reason=result.reason, due_at=result.due_at,
                  tried=result.receipt is not None, ambiguous=result.is_ambiguous,
                  provider_id=result.receipt.provider_id if result.receipt else "")  # fmt: skip


def _follow_up(unit: Unit, result: Result, *, now: datetime, channels_on: frozenset[str]) -> None:
    if result.state is MessageState.SENT or result.is_ambiguous:
        _after_sent(unit, result)
    elif result.state is MessageState.TO_CALL:
        _tell_shop_to_call(unit, result.message, now=now, channels_on=channels_on)
    elif result.state is MessageState.GIVEN_UP:
        _next_way(unit, result, now=now, channels_on=channels_on)


def _after_sent(unit: Unit, result: Result) -> None:
    """A booking remembers that its invite is (perhaps) in somebody's calendar: only then can it be cancelled there."""
    message = result.message
    if message.notice in ("pickup_confirmed", "pickup_moved") and result.channel == "email":
        booking = bookings.get_booking(unit, str(message.refs.get("booking", "")))
        if booking is not None:
            bookings.mark(unit, booking, invited=True)


def _next_way(unit: Unit, result: Result, *, now: datetime, channels_on: frozenset[str]) -> None:
    """Marks a dead address and plans the next channel the person allows, else a call, else tells the shop."""
    message = result.message
    if not message.person_id or now >= message.expires_at:
        return
    code = result.receipt.code if result.receipt else ""
    if result.contact_id and code in _BAD_ADDRESS:
        people.mark_undeliverable(unit, result.contact_id, at=now)
    notice = NOTICES[message.notice]
    facts = gather(unit, message.visit_id, channels_on=channels_on, bell=timedelta(0))
    (person,) = people.recipients(unit, [message.person_id])
    same = (message.cause, message.notice, message.person_id)
    siblings = messages.messages_of_visit(unit, message.visit_id)
    tried = frozenset({m.channel for m in siblings if (m.cause, m.notice, m.person_id) == same})
    reach = best_reach(notice, person, facts, without=tried)
    if reach is None and not notice.call:
        return
    channel, contact = (reach.channel, reach.contact_id) if reach else ("call", "")
    again = Planned(message.notice, message.person_id, channel, contact, message.about, message.cause, now,
                    message.expires_at)  # fmt: skip
    outbox.add(unit, (again,), visit_id=message.visit_id, sealed_for=message.sealed_for, refs=message.refs, now=now)


def _tell_shop_to_call(unit: Unit, message: Message, *, now: datetime, channels_on: frozenset[str]) -> None:
    kind, _, thing = message.about.partition(":")
    event = Event(id=unit.new_id(), kind="message_given_up", at=now, visit_id=message.visit_id,
                  ticket_id=thing if kind == "ticket" else "", actor_id="dispatcher",
                  codes={"message": message.id, "notice": message.notice, "person": message.person_id})  # fmt: skip
    events.append(unit, event, recorded_at=now)
    facts = gather(unit, message.visit_id, channels_on=channels_on, bell=timedelta(0))
    outbox.add(unit, plan(event, facts, now=now), visit_id=message.visit_id, sealed_for=message.sealed_for,
               refs={**event.codes, "event": event.id, "ticket": event.ticket_id}, now=now)  # fmt: skip

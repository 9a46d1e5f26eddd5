"""Writes down what became of claimed messages, a group at a time, and finds the next way for the refused."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from notify.channels.base import Receipt, Verdict
from notify.core.errors import Unavailable
from notify.core.events import Event
from notify.core.messages import MessageState
from notify.core.notices import NOTICES, SAID, SECRET
from notify.core.planner import Planned, best_reach, plan
from notify.dispatch.entries import INVITES
from notify.store import bookings, contact_codes, events, messages, outbox, people, shops
from notify.store.database import Database, Unit
from notify.store.facts import gather
from notify.store.messages import Ending, Message
from notify.store.receipts import Told, add_receipts
from notify.store.rings import rings_today

log = logging.getLogger("shelfbell.dispatch")
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
    """One transaction for the whole group.

    If that cannot be, each has one of its own; and one that still cannot be written down is at least ended, without
    what the other side said: for what was sent must never be sent again because of it. Raises Unavailable when the
    database takes nothing at all.
    """
    try:
        _settle(db, shop_id, results, now=now, channels_on=channels_on)
    except Unavailable:
        raise
    except Exception as error:
        _told_apart(error)
        for result in results:
            _settle_one(db, shop_id, result, now=now, channels_on=channels_on)


def _settle_one(db: Database, shop_id: str, result: Result, *, now: datetime, channels_on: frozenset[str]) -> None:
    try:
        _settle(db, shop_id, [result], now=now, channels_on=channels_on)
    except Unavailable:
        raise
    except Exception as error:
        _told_apart(error, row=result.message.id)
        bare = replace(_ending(result), provider_id="")
        with db.write(shop_id) as unit:
            outbox.settle(unit, [bare], now=now)


def _told_apart(error: Exception, *, row: str = "") -> None:
    # The class only: the words of somebody else's error may hold an address.
    log.error("what became of messages could not be written down", extra={"message_row": row,
              "why": type(error).__name__})  # fmt: skip


def _settle(
    db: Database, shop_id: str, results: Sequence[Result], *, now: datetime, channels_on: frozenset[str]
) -> None:
    with db.write(shop_id) as unit:
        add_receipts(unit, [_told(r.message, r.receipt) for r in results if r.receipt is not None], at=now)
        standing = outbox.settle(unit, [_ending(result) for result in results], now=now)
        for result in results:
            if result.message.id in standing:
                _follow_up(unit, result, now=now, channels_on=channels_on)


def _told(message: Message, receipt: Receipt) -> Told:
    return Told(message, receipt.verdict.value, receipt.code, receipt.text)


def _ending(result: Result) -> Ending:
    return Ending(result.message, result.state, reason=result.reason, due_at=result.due_at,
                  tried=result.receipt is not None, ambiguous=result.is_ambiguous,
                  provider_id=result.receipt.provider_id if result.receipt else "")  # fmt: skip


def _follow_up(unit: Unit, result: Result, *, now: datetime, channels_on: frozenset[str]) -> None:
    if result.message.notice in SECRET and result.state is not MessageState.WAITING:
        contact_codes.wipe(unit, str(result.message.refs.get("code", "")), message_id=result.message.id)
    if result.state is MessageState.SENT or result.is_ambiguous:
        _after_sent(unit, result)
    elif result.state is MessageState.TO_CALL:
        _tell_shop_to_call(unit, result.message, now=now, channels_on=channels_on)
    elif result.state is MessageState.GIVEN_UP:
        _mark_dead_address(unit, result, now=now)
        next_way(unit, result.message, contact_id=result.contact_id, now=now, channels_on=channels_on)


def _after_sent(unit: Unit, result: Result) -> None:
    """A booking remembers that its invite is (perhaps) in somebody's calendar: only then can it be cancelled there."""
    message = result.message
    if message.notice in INVITES and result.channel == "email":
        booking = bookings.get_booking(unit, str(message.refs.get("booking", "")))
        if booking is not None:
            bookings.mark(unit, booking, invited=True, invite_contact_id=result.contact_id or None)


def _mark_dead_address(unit: Unit, result: Result, *, now: datetime) -> None:
    code = result.receipt.code if result.receipt else ""
    if result.message.person_id and result.contact_id and code in _BAD_ADDRESS:
        mark_dead(unit, result.contact_id, why="refused", now=now)


def mark_dead(unit: Unit, contact_id: str, *, why: str, now: datetime) -> None:
    """A dead address is dead for everybody at it; one corrected since is another contact, and stays usable."""
    for one in people.contacts_alike(unit, contact_id):
        people.mark_undeliverable(unit, one, at=now, why=why)


def next_way(unit: Unit, message: Message, *, contact_id: str, now: datetime, channels_on: frozenset[str]) -> None:
    """Plans the next channel the person allows after a message was given up, else a call; for the shop its own.

    An answer to somebody's own message goes back by the channel they wrote on, or not at all; what was meant for one
    contact goes to no other.
    """
    notice = NOTICES[message.notice]
    if now >= message.expires_at or notice.purpose not in SAID:
        return
    if not message.person_id:
        _own_way(unit, message, contact_id, now=now, channels_on=channels_on)
        return
    facts = gather(unit, message.visit_id, channels_on=channels_on, bell=timedelta(0))
    (person,) = people.recipients(unit, [message.person_id])
    if person.forgotten:
        return
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


def _own_way(unit: Unit, message: Message, staff_id: str, *, now: datetime, channels_on: frozenset[str]) -> None:
    """The bell reached one of the staff on no way: then it rings once on the shop's own."""
    same = (message.cause, message.notice, message.resend)
    siblings = [m for m in messages.messages_of_visit(unit, message.visit_id) if (m.cause, m.notice, m.resend) == same]
    if not staff_id or any(m.state in (MessageState.WAITING, MessageState.SENT) for m in siblings):
        return
    own = rings_today(unit, "", shops.get_shop(unit, today=now.date()), channels_on=channels_on)
    again = tuple(Planned(message.notice, "", ring.channel, "", message.about, f"{message.cause}:shop", now,
                          message.expires_at) for ring in own)  # fmt: skip
    outbox.add(unit, again, visit_id=message.visit_id, sealed_for=message.sealed_for, refs=message.refs, now=now)


def _tell_shop_to_call(unit: Unit, message: Message, *, now: datetime, channels_on: frozenset[str]) -> None:
    kind, _, thing = message.about.partition(":")
    event = Event(id=unit.new_id(), kind="message_given_up", at=now, visit_id=message.visit_id,
                  ticket_id=thing if kind == "ticket" else "", actor_id="dispatcher",
                  codes={"message": message.id, "notice": message.notice, "person": message.person_id})  # fmt: skip
    events.append(unit, event, recorded_at=now)
    facts = gather(unit, message.visit_id, channels_on=channels_on, bell=timedelta(0), event=event)
    outbox.add(unit, plan(event, facts, now=now), visit_id=message.visit_id, sealed_for=message.sealed_for,
               refs={**event.codes, "event": event.id, "ticket": event.ticket_id}, now=now)  # fmt: skip

"""Makes claimed messages ready to leave: the second look, then their bytes, stored before the first try."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from notify.channels.base import NOBODY, Outgoing
from notify.core.errors import NotFound
from notify.core.messages import MessageState
from notify.core.notices import ANSWER, NOTICES, TO_NAMED
from notify.core.second_look import Drop, Send, Wait
from notify.core.shop import Shop
from notify.dispatch.compose import Composer
from notify.dispatch.look_again import Rules, look_at
from notify.dispatch.said import Saying, gather_said
from notify.dispatch.send import Ready
from notify.dispatch.settle import Result
from notify.store import bookings, messages, outbox, people, shops
from notify.store.database import Unit
from notify.store.messages import Composed, Message
from notify.store.read_ahead import read_ahead
from notify.store.rings import address_of, own_address

CANNOT_COMPOSE_WAIT = timedelta(minutes=15)
log = logging.getLogger("shelfbell.dispatch")


@dataclass(frozen=True, slots=True)
class Prepared:
    """What claimed messages came to: an end, or ready to leave; and the rows of sealed bytes still to be kept.

    `stamps` are the DTSTAMPs of calendar objects among them, by booking.
    """

    results: list[Result] = field(default_factory=list)
    ready: list[Ready] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    stamps: dict[str, datetime] = field(default_factory=dict)


def keep(unit: Unit, prepared: Prepared) -> Prepared:
    """Keeps the bytes before the first try; who was forgotten since the look gets nothing, and nothing is kept."""
    whole = [*(result.message for result in prepared.results), *(message for message, _, _ in prepared.ready)]
    forgotten = people.forgotten_among(unit, {one for message in whole for one in _people_of(message)})
    gone = {message.id: message for message in whole if forgotten & _people_of(message)}
    outbox.keep_bytes(unit, prepared.rows, but_not=gone)
    bookings.keep_stamps(unit, prepared.stamps)
    if not gone:
        return prepared
    results = [result for result in prepared.results if result.message.id not in gone]
    results += [Result(message, MessageState.DROPPED, reason="forgotten") for message in gone.values()]
    return Prepared(results, [one for one in prepared.ready if one[0].id not in gone])


@dataclass(frozen=True, slots=True)
class Going:
    """A message that may leave: to whom, what it says, and the bytes kept from an earlier try."""

    message: Message
    verdict: Send
    shop: Shop
    language: str
    address: str
    kept: Composed | None
    context: Mapping[str, Any]


def _end(message: Message, verdict: Drop | Wait) -> Result:
    if isinstance(verdict, Drop):
        return Result(message, MessageState.DROPPED, reason=verdict.reason)
    return Result(message, MessageState.WAITING, reason=verdict.reason, due_at=verdict.until)


def _people_of(message: Message) -> set[str]:
    return {one for one in (message.person_id, message.sealed_for) if one}


def _joined(parts: Iterable[Prepared]) -> Prepared:
    whole = Prepared()
    for part in parts:
        whole.results.extend(part.results)
        whole.ready.extend(part.ready)
        whole.rows.extend(part.rows)
        whole.stamps.update(part.stamps)
    return whole


@dataclass(frozen=True, slots=True)
class Preparer:
    """Looks again and composes, on one snapshot; it changes nothing."""

    composer: Composer
    rules: Rules

    def prepare_all(self, unit: Unit, claimed: Sequence[Message], *, now: datetime) -> Prepared:
        """All together; only if something in it fails is each message tried in a savepoint of its own."""
        read_ahead(
            unit, visit_ids=(m.visit_id for m in claimed), person_ids=(one for m in claimed for one in _people_of(m)),
            message_ids=(m.id for m in claimed if m.has_bytes),
        )  # fmt: skip
        try:
            with unit.savepoint():
                return self._prepare_group(unit, claimed, now=now)
        except Exception:  # which one it was, and what becomes of it, is found out below
            return _joined(self._prepare_safely(unit, message, now=now) for message in claimed)

    def _prepare_safely(self, unit: Unit, message: Message, *, now: datetime) -> Prepared:
        """A message that cannot be composed, for whatever reason, never blocks the others, and is never lost."""
        try:
            with unit.savepoint():
                return self._prepare_group(unit, [message], now=now)
        except Exception as error:
            if isinstance(error, NotFound) and people.is_forgotten(unit, message.sealed_for):
                return Prepared([Result(message, MessageState.DROPPED, reason="forgotten")])
            # The class only: the words of somebody else's error may hold the text of the message.
            log.error("a message cannot be composed", extra={"message_row": message.id, "why": type(error).__name__})
            wait = now + CANNOT_COMPOSE_WAIT
            return Prepared([Result(message, MessageState.WAITING, reason=outbox.CANNOT_COMPOSE, due_at=wait)])

    def _prepare_group(self, unit: Unit, group: Sequence[Message], *, now: datetime) -> Prepared:
        """Each step is done for all before the next one begins: code just used is four times as fast (measured).

        The bytes of those composed just now are sealed here: it is the unit that knows the keys.
        """
        looked = [(message, look_at(unit, message, self.rules, now=now)) for message in group]
        going = [self._going(unit, message, v, now=now) for message, v in looked if isinstance(v, Send)]
        composed = [self._composed(unit, one, now=now) for one in going]
        fresh = [(one.message, made) for one, made in zip(going, composed, strict=True) if made is not one.kept]
        rows = [outbox.seal_bytes(unit, message, made, at=now) for message, made in fresh]
        stamps = dict(made.stamped for _, made in fresh if made.stamped)
        whole = Prepared([_end(message, v) for message, v in looked if not isinstance(v, Send)], [], rows, stamps)
        for one, made in zip(going, composed, strict=True):
            if made.channel == "call":
                whole.results.append(Result(one.message, MessageState.TO_CALL, channel="call"))
            else:
                whole.ready.append((one.message, self._outgoing(one, made), made))
        return whole

    def _going(self, unit: Unit, message: Message, verdict: Send, *, now: datetime) -> Going:
        """What it takes to compose a message that may leave."""
        shop = shops.get_shop(unit, today=now.date())
        language = people.get_person(unit, message.person_id).language if message.person_id else shop.language
        address = self._address(unit, message, shop, verdict)
        kept = self._kept(unit, message, verdict)
        saying = Saying(self.composer.sending.public_url, language, self.composer.words(language))
        context = {} if kept else gather_said(
            unit, message, shop=shop, saying=saying, now=now, sentence=self._sentence(unit, message)
        )  # fmt: skip
        return Going(message, verdict, shop, language, address, kept, context)

    def _composed(self, unit: Unit, one: Going, *, now: datetime) -> Composed:
        """The bytes as they were kept, or made now."""
        return one.kept or self.composer.compose(
            unit, one.message, shop=one.shop, context=one.context, language=one.language, channel=one.verdict.channel,
            contact_id=one.verdict.contact_id, address=one.address, now=now,
        )  # fmt: skip

    def _outgoing(self, one: Going, made: Composed) -> Outgoing:
        way = self.composer.sending
        by_mail = made.channel == "email"  # a text gateway knows the shop by one address of its own
        sender = way.return_address(one.message.id, made.contact_id) if by_mail else way.text_sender()
        if by_mail and NOTICES[one.message.notice].purpose == ANSWER:
            sender = NOBODY
        return Outgoing(made.message_id, one.address, sender, made.payload)

    def _address(self, unit: Unit, message: Message, shop: Shop, verdict: Send) -> str:
        """The person's address as it is stored now; for the shop's notices that of its staff, or its own."""
        if not message.person_id and verdict.contact_id:
            return address_of(unit, verdict.contact_id, verdict.channel)
        if not message.person_id:
            own = own_address(shop, verdict.channel)
            return own or self.composer.sending.sender.address
        if NOTICES[message.notice].purpose in TO_NAMED:  # also to one that was replaced
            named = people.get_contact(unit, verdict.contact_id)
            return named.address if named else ""
        found = {c.id: c.address for c in people.contacts_of(unit, message.person_id)}
        return found.get(verdict.contact_id, "")

    def _kept(self, unit: Unit, message: Message, verdict: Send) -> Composed | None:
        """What was composed for this very way before; None when nothing was, or the address changed since."""
        if not message.message_id or (message.channel, message.contact_id) != (verdict.channel, verdict.contact_id):
            return None
        data = messages.get_bytes(unit, message)
        return Composed(data, message.message_id, "", verdict.channel, verdict.contact_id) if data else None

    def _sentence(self, unit: Unit, message: Message) -> str:
        other = messages.get_message(unit, str(message.refs.get("message", "")))
        return messages.get_sentence(unit, other) if other else ""

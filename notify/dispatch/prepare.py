"""Makes claimed messages ready to leave: the second look, then their bytes, stored before the first try."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from notify.channels.base import Outgoing
from notify.core.errors import NotFound
from notify.core.messages import MessageState
from notify.core.second_look import Drop, Send, Wait
from notify.core.shop import Shop
from notify.dispatch.compose import Composer
from notify.dispatch.look_again import Rules, look_at
from notify.dispatch.said import Saying, gather_said
from notify.dispatch.send import Ready
from notify.dispatch.settle import Result
from notify.store import messages, outbox, people, shops
from notify.store.database import Unit
from notify.store.messages import Composed, Message
from notify.store.rings import address_of, own_address

CANNOT_COMPOSE_WAIT = timedelta(minutes=15)
log = logging.getLogger("shelfbell.dispatch")


@dataclass(frozen=True, slots=True)
class Prepared:
    """What claimed messages came to: an end, or ready to leave; and the rows of sealed bytes still to be kept."""

    results: list[Result] = field(default_factory=list)
    ready: list[Ready] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)


def keep(unit: Unit, prepared: Prepared) -> Prepared:
    """Keeps the bytes before the first try; who was forgotten since the look gets nothing, and nothing is kept."""
    whole = [*(result.message for result in prepared.results), *(message for message, _, _ in prepared.ready)]
    forgotten = people.forgotten_among(unit, {one for message in whole for one in _people_of(message)})
    gone = {message.id: message for message in whole if forgotten & _people_of(message)}
    outbox.keep_bytes(unit, prepared.rows, but_not=gone)
    if not gone:
        return prepared
    results = [result for result in prepared.results if result.message.id not in gone]
    results += [Result(message, MessageState.DROPPED, reason="forgotten") for message in gone.values()]
    return Prepared(results, [one for one in prepared.ready if one[0].id not in gone])


def _people_of(message: Message) -> set[str]:
    return {one for one in (message.person_id, message.sealed_for) if one}


def _joined(parts: Iterable[Prepared]) -> Prepared:
    whole = Prepared()
    for part in parts:
        whole.results.extend(part.results)
        whole.ready.extend(part.ready)
        whole.rows.extend(part.rows)
    return whole


@dataclass(frozen=True, slots=True)
class Preparer:
    """Looks again and composes, on one snapshot; it changes nothing."""

    composer: Composer
    rules: Rules

    def prepare_all(self, unit: Unit, claimed: Sequence[Message], *, now: datetime) -> Prepared:
        """All together; only if something in it fails is each message tried in a savepoint of its own."""
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
        """The bytes of those composed just now are sealed here: it is the unit that knows the keys."""
        fresh: list[tuple[Message, Composed]] = []
        found = [self._prepare(unit, message, fresh, now=now) for message in group]
        return Prepared(
            [one for one in found if isinstance(one, Result)],
            [one for one in found if not isinstance(one, Result)],
            [outbox.seal_bytes(unit, message, composed, at=now) for message, composed in fresh],
        )

    def _prepare(
        self, unit: Unit, message: Message, fresh: list[tuple[Message, Composed]], *, now: datetime
    ) -> Result | Ready:
        """The second look, then the bytes; those just composed are put into `fresh`."""
        verdict = look_at(unit, message, self.rules, now=now)
        if isinstance(verdict, Drop):
            return Result(message, MessageState.DROPPED, reason=verdict.reason)
        if isinstance(verdict, Wait):
            return Result(message, MessageState.WAITING, reason=verdict.reason, due_at=verdict.until)
        return self._ready(unit, message, verdict, fresh, now=now)

    def _ready(
        self, unit: Unit, message: Message, verdict: Send, fresh: list[tuple[Message, Composed]], *, now: datetime
    ) -> Result | Ready:
        shop = shops.get_shop(unit, today=now.date())
        language = people.get_person(unit, message.person_id).language if message.person_id else shop.language
        address = self._address(unit, message, shop, verdict)
        kept = self._kept(unit, message, verdict)
        if kept is None:
            saying = Saying(self.composer.sending.public_url, language, self.composer.words(language))
            context = gather_said(
                unit, message, shop=shop, saying=saying, now=now, sentence=self._sentence(unit, message)
            )
            kept = self.composer.compose(
                unit, message, shop=shop, context=context, language=language, channel=verdict.channel,
                contact_id=verdict.contact_id, address=address, now=now,
            )  # fmt: skip
            fresh.append((message, kept))
        if kept.channel == "call":
            return Result(message, MessageState.TO_CALL, channel="call")
        way = self.composer.sending
        by_mail = kept.channel == "email"  # a text gateway knows the shop by one address of its own
        sender = way.return_address(message.id, kept.contact_id) if by_mail else way.text_sender()
        outgoing = Outgoing(kept.message_id, address, sender, kept.payload)
        return message, outgoing, kept

    def _address(self, unit: Unit, message: Message, shop: Shop, verdict: Send) -> str:
        """The person's address as it is stored now; for the shop's notices that of its staff, or its own."""
        if not message.person_id and verdict.contact_id:
            return address_of(unit, verdict.contact_id, verdict.channel)
        if not message.person_id:
            own = own_address(shop, verdict.channel)
            return own or self.composer.sending.sender.address
        found = {c.id: c.address for c in people.contacts_of(unit, message.person_id)}
        return found.get(verdict.contact_id, "")

    def _kept(self, unit: Unit, message: Message, verdict: Send) -> Composed | None:
        """What was composed for this very way before; None when nothing was, or the address changed since."""
        if not message.message_id or (message.channel, message.contact_id) != (verdict.channel, verdict.contact_id):
            return None
        data = messages.get_bytes(unit, message)
        sentence = messages.get_sentence(unit, message)
        return Composed(data, message.message_id, sentence, verdict.channel, verdict.contact_id) if data else None

    def _sentence(self, unit: Unit, message: Message) -> str:
        other = messages.get_message(unit, str(message.refs.get("message", "")))
        return messages.get_sentence(unit, other) if other else ""

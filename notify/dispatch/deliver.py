"""Claims due messages, looks again, sends with no transaction open, and settles what became of them."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from notify.channels.base import Channel, Outgoing, Receipt, Verdict
from notify.core.errors import NotFound
from notify.core.messages import MessageState
from notify.core.notices import NOTICES
from notify.core.quiet import allowed_at
from notify.core.retry import HAND_OVER, MAIL, next_try
from notify.core.second_look import Drop, Send, Wait, look
from notify.core.second_look import Verdict as Looked
from notify.core.shop import Shop
from notify.dispatch.compose import Composer
from notify.dispatch.look_again import todays_facts
from notify.dispatch.said import Saying, gather_said
from notify.dispatch.settle import Result, settle_all
from notify.store import messages, outbox, people, shops
from notify.store.database import Database, Unit
from notify.store.facts import gather
from notify.store.messages import Composed, Message
from notify.store.read_ahead import read_ahead

LEASE = timedelta(minutes=15)  # longer than any transport's patience after the final dot (RFC 5321 4.5.3.2.6)
SEND_WITHIN = timedelta(minutes=4)  # a send begun by then ends, dot and all (10 minutes), before the lease does
GROUP = 10  # so many may be repeated by a crash between sending and settling
# Answers of the far end about this recipient or message: patience by RFC 5321; anything else is our own line.
_FAR_END = ("rcpt-4", "data-4", "dot-4")
CALL_AFTER = timedelta(hours=4)  # a line down for so long gives way to the next one, or to a call (no source)
CANNOT_COMPOSE_WAIT = timedelta(minutes=15)
log = logging.getLogger("shelfbell.dispatch")
Ready = tuple[Message, Outgoing, Composed]


@dataclass(frozen=True, slots=True)
class Rules:
    """The installation's rules of telling."""

    bell: timedelta
    quiet_from: time
    quiet_until: time
    channels_on: frozenset[str]


@dataclass(frozen=True, slots=True)
class Dispatcher:
    """One worker. Any number of them, in any processes, may run at once: each row is claimed by one."""

    db: Database
    composer: Composer
    channels: Mapping[str, Channel]
    clock: Callable[[], datetime]
    jitter: Callable[[], float]
    rules: Rules
    name: str
    fault: Callable[[str], None] = lambda point: None  # named crash points, for tests

    def run_once(self, shop_id: str) -> int:
        """Handles one group of due messages of a shop; how many it claimed.

        Claim and bytes are one transaction; then everything is sent with none open; then one settles all.
        """
        self.fault("before_claim")
        now = self.clock()
        with self.db.write_beside(shop_id) as unit:
            claimed = outbox.claim(unit, now=now, until=now + LEASE, by=self.name, limit=GROUP)
            if claimed:
                read_ahead(unit, visit_ids=(m.visit_id for m in claimed), person_ids=_people_of(claimed))
            prepared = self._prepare_all(unit, claimed, now=now)
        self.fault("after_claim")
        results = [item if isinstance(item, Result) else self._send(*item, claimed_at=now) for item in prepared]
        if results:
            settle_all(self.db, shop_id, results, now=self.clock(), channels_on=self.rules.channels_on)
        self.fault("after_record")
        return len(claimed)

    def end_stale_calls(self, shop_id: str) -> int:
        """Takes calls off the list that are no longer true or of use (a call has no moment of leaving); how many."""
        now = self.clock()
        with self.db.read(shop_id) as unit:
            looked = [(task, self._look(unit, task, now=now)) for task in messages.calls_to_make(unit)]
        stale = [Result(task, MessageState.DROPPED, reason=v.reason) for task, v in looked if isinstance(v, Drop)]
        if stale:
            settle_all(self.db, shop_id, stale, now=now, channels_on=self.rules.channels_on)
        return len(stale)

    def try_out(self, outgoing: Outgoing) -> Receipt:
        """Sends one message that is in no outbox, by e-mail: the test of a new installation, to its own shop."""
        return self.channels["email"].send(outgoing)

    def _send(self, message: Message, outgoing: Outgoing, composed: Composed, *, claimed_at: datetime) -> Result:
        if self.clock() >= claimed_at + SEND_WITHIN:  # others in the group took so long that the lease may run out
            return Result(message, MessageState.WAITING, reason="no_time_left")
        receipt = self.channels[composed.channel].send(outgoing)
        self.fault("after_send")
        return self._judge(message, composed, receipt)

    def _prepare_all(self, unit: Unit, claimed: Sequence[Message], *, now: datetime) -> list[Result | Ready]:
        """One savepoint for the group; only if something in it fails is each message tried in one of its own."""
        try:
            with unit.savepoint():
                return self._prepare_group(unit, claimed, now=now)
        except Exception:  # which one it was, and what becomes of it, is found out below
            return [self._prepare_safely(unit, message, now=now) for message in claimed]

    def _prepare_safely(self, unit: Unit, message: Message, *, now: datetime) -> Result | Ready:
        """A message that cannot be composed, for whatever reason, never blocks the others, and is never lost."""
        try:
            with unit.savepoint():
                return self._prepare_group(unit, [message], now=now)[0]
        except Exception as error:
            if isinstance(error, NotFound) and people.is_forgotten(unit, message.sealed_for):
                return Result(message, MessageState.DROPPED, reason="forgotten")
            # The class only: the words of somebody else's error may hold the text of the message.
            log.error("a message cannot be composed", extra={"message_row": message.id, "why": type(error).__name__})
            wait = now + CANNOT_COMPOSE_WAIT
            return Result(message, MessageState.WAITING, reason=outbox.CANNOT_COMPOSE, due_at=wait)

    def _prepare_group(self, unit: Unit, group: Sequence[Message], *, now: datetime) -> list[Result | Ready]:
        """Bytes are stored before the first try; the same ones leave at every later try."""
        fresh: list[tuple[Message, Composed]] = []
        prepared = [self._prepare(unit, message, fresh, now=now) for message in group]
        outbox.keep_bytes(unit, fresh, at=now)
        return prepared

    def _prepare(
        self, unit: Unit, message: Message, fresh: list[tuple[Message, Composed]], *, now: datetime
    ) -> Result | Ready:
        """The second look, then the bytes; those just composed are put into `fresh`."""
        verdict = self._look(unit, message, now=now)
        if isinstance(verdict, Drop):
            return Result(message, MessageState.DROPPED, reason=verdict.reason)
        if isinstance(verdict, Wait):
            return Result(message, MessageState.WAITING, reason=verdict.reason, due_at=verdict.until)
        return self._ready(unit, message, verdict, fresh, now=now)

    def _look(self, unit: Unit, message: Message, *, now: datetime) -> Looked:
        shop = shops.get_shop(unit, today=now.date())
        facts = gather(unit, message.visit_id, channels_on=self.rules.channels_on, bell=self.rules.bell)
        person = next(iter(people.recipients(unit, [message.person_id])), None) if message.person_id else None
        today = todays_facts(unit, message, now=now, quiet_until=self._quiet_until(shop, now))
        return look(message.notice, channel=message.channel, expires_at=message.expires_at, person=person,
                    facts=facts, now=today)  # fmt: skip

    def _quiet_until(self, shop: Shop, now: datetime) -> datetime:
        return allowed_at(now, zones=[shop.zone], quiet_from=self.rules.quiet_from, quiet_until=self.rules.quiet_until)

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
        outgoing = Outgoing(kept.message_id, address, self.composer.sending.sender.address, kept.payload)
        return message, outgoing, kept

    def _address(self, unit: Unit, message: Message, shop: Shop, verdict: Send) -> str:
        """The person's address as it is stored now; the shop's own for its notices."""
        if not message.person_id:
            return shop.email or self.composer.sending.sender.address
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

    def _judge(self, message: Message, composed: Composed, receipt: Receipt) -> Result:
        """What a channel's answer means for the message."""
        ways = {"channel": composed.channel, "contact_id": composed.contact_id, "receipt": receipt}
        if receipt.verdict is Verdict.ACCEPTED:
            return Result(message, MessageState.SENT, **ways)  # type: ignore[arg-type]
        if receipt.verdict is Verdict.NEVER:
            return Result(message, MessageState.GIVEN_UP, reason=f"refused:{receipt.code}"[:40], **ways)  # type: ignore[arg-type]
        patience = MAIL if receipt.code.startswith(_FAR_END) else HAND_OVER
        first, ends = message.composed_at or self.clock(), message.expires_at
        if NOTICES[message.notice].call:  # somebody can phone: better today than at the message's last minute
            ends = min(ends, first + CALL_AFTER)
        again = next_try(message.attempts + 1, first_at=first, now=self.clock(), jitter=self.jitter(),
                         expires_at=ends, patience=patience)  # fmt: skip
        if again is None:
            return Result(message, MessageState.GIVEN_UP, reason="no_use_any_more", **ways)  # type: ignore[arg-type]
        return Result(message, MessageState.WAITING, reason="try_later", due_at=again, **ways)  # type: ignore[arg-type]


def _people_of(claimed: Sequence[Message]) -> list[str]:
    """Whom the messages go to, and under whose keys they are sealed."""
    return [one for m in claimed for one in (m.person_id, m.sealed_for) if one]

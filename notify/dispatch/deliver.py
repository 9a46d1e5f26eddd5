"""Claims due messages, looks again, sends with no transaction open, and settles what became of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.channels.base import Channel, Outgoing, Receipt, Verdict
from notify.core.messages import MessageState
from notify.core.notices import NOTICES
from notify.core.retry import HAND_OVER, MAIL, next_try
from notify.core.second_look import Drop
from notify.dispatch.look_again import look_at
from notify.dispatch.prepare import Preparer
from notify.dispatch.settle import Result, settle_all
from notify.store import messages, outbox
from notify.store.database import Database
from notify.store.messages import Composed, Message
from notify.store.read_ahead import read_ahead

LEASE = timedelta(minutes=15)  # longer than any transport's patience after the final dot (RFC 5321 4.5.3.2.6)
SEND_WITHIN = timedelta(minutes=4)  # a send begun by then ends, dot and all (10 minutes), before the lease does
GROUP = 10  # so many may be repeated by a crash between sending and settling
# Answers of the far end about this recipient or message: patience by RFC 5321; anything else is our own line.
_FAR_END = ("rcpt-4", "data-4", "dot-4")
CALL_AFTER = timedelta(hours=4)  # a line down for so long gives way to the next one, or to a call (no source)


@dataclass(frozen=True, slots=True)
class Dispatcher:
    """One worker. Any number of them, in any processes, may run at once: each row is claimed by one."""

    db: Database
    preparer: Preparer
    channels: Mapping[str, Channel]
    clock: Callable[[], datetime]
    jitter: Callable[[], float]
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
            prepared = self.preparer.prepare_all(unit, claimed, now=now)
        self.fault("after_claim")
        results = [item if isinstance(item, Result) else self._send(*item, claimed_at=now) for item in prepared]
        if results:
            settle_all(self.db, shop_id, results, now=self.clock(), channels_on=self.preparer.rules.channels_on)
        self.fault("after_record")
        return len(claimed)

    def end_stale_calls(self, shop_id: str) -> int:
        """Takes calls off the list that are no longer true or of use (a call has no moment of leaving); how many."""
        now = self.clock()
        with self.db.read(shop_id) as unit:
            looked = [
                (task, look_at(unit, task, self.preparer.rules, now=now)) for task in messages.calls_to_make(unit)
            ]
        stale = [Result(task, MessageState.DROPPED, reason=v.reason) for task, v in looked if isinstance(v, Drop)]
        if stale:
            settle_all(self.db, shop_id, stale, now=now, channels_on=self.preparer.rules.channels_on)
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

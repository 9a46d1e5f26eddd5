"""Claims due messages, looks again, sends with no transaction open, and settles what became of them."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from notify.channels.base import Channel, Outgoing, Receipt, Verdict
from notify.core.errors import Unavailable
from notify.core.messages import MessageState
from notify.core.notices import NOTICES
from notify.core.retry import end_of, next_try, patience_for
from notify.core.second_look import Drop, Wait
from notify.core.second_look import Verdict as Looked
from notify.dispatch.look_again import look_at
from notify.dispatch.pace import Pace
from notify.dispatch.prepare import Prepared, Preparer, keep
from notify.dispatch.send import Sender, Sent
from notify.dispatch.settle import Result, settle_all
from notify.store import messages, outbox
from notify.store.database import Database, Unit
from notify.store.messages import Composed, Message

LEASE = timedelta(minutes=15)  # longer than any transport's patience after the final dot (RFC 5321 4.5.3.2.6)
SEND_WITHIN = timedelta(minutes=4)  # a send begun by then ends, dot and all (10 minutes), before the lease does


@dataclass(slots=True)
class Dispatcher:
    """One worker. Any number of them, in any processes, may run at once: each row is claimed by one.

    `clock` tells the time, `ticks` counts seconds and never goes back.
    """

    db: Database
    preparer: Preparer
    channels: Mapping[str, Channel]
    clock: Callable[[], datetime]
    jitter: Callable[[], float]
    name: str
    fault: Callable[[str], None] = lambda point: None  # named crash points, for tests
    ticks: Callable[[], float] = time.monotonic
    _sender: Sender = field(init=False)
    _pace: Pace = field(default_factory=Pace)
    # Of which shop, and not written down yet.
    _owed: deque[tuple[str, Sequence[Result]]] = field(init=False, default_factory=deque)

    def __post_init__(self) -> None:
        self._sender = Sender(self.channels, self.ticks, self.fault)

    def run_once(self, shop_id: str, *, go_on: Callable[[], bool] = lambda: True) -> int:
        """Handles one batch of due messages of a shop; how many it claimed.

        Claim, look and bytes are three short transactions, of which only the first and the last write; then
        everything is sent with none open, and settled in groups of at most GROUP. `go_on` is asked before each
        message leaves: once it says no, the others stay for the next worker.
        """
        self._write_down()  # first: what was sent and could not be written down must not be sent again
        self.fault("before_claim")
        now, began = self.clock(), self.ticks()
        with self.db.write_beside(shop_id) as unit:
            claimed = outbox.claim(unit, now=now, until=now + LEASE, by=self.name, limit=self._pace.size)
        if claimed:
            try:
                prepared = self._prepare(shop_id, claimed, now=now)
            except Unavailable:
                self._owed.append((shop_id, [_as_it_was(message) for message in claimed]))
                raise
            self.fault("after_claim")
            self._send(shop_id, prepared, may_go=lambda: go_on() and self.clock() < now + SEND_WITHIN)
            self._write_down()
            self._pace.note(len(claimed), self.ticks() - began)
        self.fault("after_record")
        return len(claimed)

    def end_stale_calls(self, shop_id: str) -> int:
        """Takes calls off the list that are no longer true or of use, or that another call will tell; how many.

        A call has no moment of leaving at which it would be looked at.
        """
        now = self.clock()
        with self.db.read(shop_id) as unit:
            looked = [
                (task, look_at(unit, task, self.preparer.rules, now=now)) for task in messages.calls_to_make(unit)
            ]
        stale = [Result(task, MessageState.DROPPED, reason=v.reason) for task, v in looked if isinstance(v, Drop)]
        stale += [
            Result(task, MessageState.WAITING, reason=v.reason, due_at=v.until)
            for task, v in looked if isinstance(v, Wait)
        ]  # fmt: skip
        if stale:
            settle_all(self.db, shop_id, stale, now=now, channels_on=self.preparer.rules.channels_on)
        return len(stale)

    def look(self, unit: Unit, message: Message) -> Looked:
        """What the second look would say of a message now: for whoever wants to send it again."""
        return look_at(unit, message, self.preparer.rules, now=self.clock())

    def try_out(self, outgoing: Outgoing) -> Receipt:
        """Sends one message that is in no outbox, by e-mail: the test of a new installation, to its own shop."""
        return self.channels["email"].send(outgoing)

    def _prepare(self, shop_id: str, claimed: Sequence[Message], *, now: datetime) -> Prepared:
        """Looks and composes on a snapshot, which holds no writer up; then keeps the bytes."""
        with self.db.read(shop_id) as unit:
            prepared = self.preparer.prepare_all(unit, claimed, now=now)
        with self.db.write(shop_id) as unit:  # after whoever forgets somebody just now
            return keep(unit, prepared)

    def _send(self, shop_id: str, prepared: Prepared, *, may_go: Callable[[], bool]) -> None:
        """Nothing more leaves once something cannot be written down; what is on its way is waited for."""
        self._settle(shop_id, prepared.results)
        for group in self._sender.send_all(prepared.ready, may_go=lambda: not self._owed and may_go()):
            self._settle(shop_id, [self._result(one) for one in group])

    def _settle(self, shop_id: str, results: Sequence[Result]) -> None:
        if results:
            self._owed.append((shop_id, results))
            with suppress(Unavailable):  # it stays owed
                self._write_down()

    def _write_down(self) -> None:
        """Settles all that is owed, oldest first; raises Unavailable while the database takes nothing."""
        while self._owed:
            shop_id, results = self._owed.popleft()
            try:
                settle_all(self.db, shop_id, results, now=self.clock(), channels_on=self.preparer.rules.channels_on)
            except Unavailable:
                self._owed.appendleft((shop_id, results))
                raise

    def _result(self, sent: Sent) -> Result:
        if sent.receipt is None:  # no time left, or this worker stops
            return _as_it_was(sent.message)
        return self._judge(sent.message, sent.composed, sent.receipt)

    def _judge(self, message: Message, composed: Composed, receipt: Receipt) -> Result:
        """What a channel's answer means for the message."""
        ways = {"channel": composed.channel, "contact_id": composed.contact_id, "receipt": receipt}
        if receipt.verdict is Verdict.ACCEPTED:
            return Result(message, MessageState.SENT, **ways)  # type: ignore[arg-type]
        if receipt.verdict is Verdict.NEVER:
            return Result(message, MessageState.GIVEN_UP, reason=f"refused:{receipt.code}"[:40], **ways)  # type: ignore[arg-type]
        patience, first = patience_for(composed.channel, receipt.code), message.composed_at or self.clock()
        ends = end_of(patience, first_at=first, expires_at=message.expires_at, may_call=NOTICES[message.notice].call)
        again = next_try(message.attempts + 1, first_at=first, now=self.clock(), jitter=self.jitter(),
                         expires_at=ends, patience=patience)  # fmt: skip
        if again is None:
            return Result(message, MessageState.GIVEN_UP, reason="no_use_any_more", **ways)  # type: ignore[arg-type]
        return Result(message, MessageState.WAITING, reason="try_later", due_at=again, **ways)  # type: ignore[arg-type]


def _as_it_was(message: Message) -> Result:
    """Given back: due as before, and nothing was tried."""
    return Result(message, MessageState.WAITING, reason="no_time_left")

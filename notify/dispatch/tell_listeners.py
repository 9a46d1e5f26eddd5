"""Tells listeners of events, each in the order of the story: the story itself is the outbox.

A worker takes a listener in hand by a lease, calls with no transaction open, and writes down after each call how far
was heard. So a crash repeats at most the one call that was on its way, with the same octets and the same id.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path

from notify.channels.http_call import Answer, Caller, NoAnswer, NotSent
from notify.channels.http_target import Resolve, listener_target, resolve
from notify.core import signed_call
from notify.core.errors import Misconfigured, NotFound
from notify.core.listeners import Heard, body_of, follows, meaning, ping_of
from notify.store import listeners
from notify.store.database import Database, Unit
from notify.store.listeners import Listener, Numbered, Secrets

LEASE = timedelta(minutes=2)  # longer than any call; each event heard renews it
TURN = timedelta(minutes=1)  # then others get a turn
SLOW = timedelta(seconds=2)  # a call that took longer ends the turn at once
AT_ONCE, BATCH = 8, 50
AGAIN = 1.0  # seconds after which it is looked for news of others, while some are still being told
LARGEST_ANSWER = 64 * 1024  # octets; nothing of an answer is kept but its status
log = logging.getLogger("shelfbell.listeners")


@dataclass(frozen=True, slots=True)
class Said:
    """What a listener answered: a status, or 0 with the code of what was in the way."""

    status: int
    trouble: str = ""
    asked: datetime | None = None


@dataclass(slots=True)
class Teller:
    """One worker. Any number of them, in any processes, may run at once: each listener is in hand of one."""

    db: Database
    clock: Callable[[], datetime]
    jitter: Callable[[], float]
    name: str
    inner_hosts: Collection[str] = ()
    patience: float = 15.0  # seconds for a whole call; Standard Webhooks 1.0.0 recommends 15 to 30
    ca_file: Path | None = None
    resolve: Resolve = resolve
    fault: Callable[[str], None] = lambda point: None  # named crash points, for tests

    def tell_due(self, shop_ids: Collection[str], *, go_on: Callable[[], bool] = lambda: True) -> int:
        """Tells every listener that has something to hear, several at once so that a dead one holds up no other.

        While one is still being told, what others have to hear meanwhile is looked for as well: a listener that takes
        its time with every call holds up nobody but itself. Ends when nobody wants to hear more, or after a turn.
        """
        until, done, ended = self.clock() + TURN, 0, set[tuple[str, str]]()
        running: dict[Future[int], tuple[str, str]] = {}

        def goes_on() -> bool:
            return go_on() and self.clock() < until

        with ThreadPoolExecutor(AT_ONCE, thread_name_prefix="shelfbell-listener") as pool:
            while True:
                due = [(shop_id, one) for shop_id in shop_ids for one in self._due(shop_id)] if goes_on() else []
                for one in due:
                    if one not in ended and one not in running.values():
                        running[pool.submit(self.tell, *one, go_on=goes_on)] = one
                if not running:
                    return done
                for told in wait(running, AGAIN, FIRST_COMPLETED).done:
                    one, number = running.pop(told), told.result()
                    done += number
                    ended |= set() if number else {one}  # it did not get on: not again in this turn

    def tell(self, shop_id: str, listener_id: str, *, go_on: Callable[[], bool] = lambda: True) -> int:
        """Tells one listener until it has heard everything, something is in the way, or its turn is over; how many."""
        now = self.clock()
        with self.db.write_beside(shop_id) as unit:
            if not listeners.claim(unit, listener_id, by=self.name, now=now, until=now + LEASE):
                return 0
        self.fault("claimed")
        done = 0
        while go_on() and self.clock() < now + TURN:
            told, more = self._batch(shop_id, listener_id, go_on)
            done += told
            if not more:
                break
        with self.db.write_beside(shop_id) as unit:
            listeners.hold(unit, listener_id, by=self.name, until=None)
        return done

    def ping(self, shop_id: str, listener_id: str, ping_id: str) -> Said:
        """Calls once about nothing, to see whether the other side answers; it changes nothing. Raises NotFound."""
        with self.db.read(shop_id) as unit:
            listener, secrets = listeners.get_listener(unit, listener_id), listeners.secrets_of(unit, listener_id)
        return self._call(listener, secrets, ping_id, ping_of(ping_id, shop_id=shop_id, at=self.clock()))

    def _due(self, shop_id: str) -> tuple[str, ...]:
        with self.db.read(shop_id) as unit:
            return listeners.due(unit, now=self.clock())

    def _batch(self, shop_id: str, listener_id: str, go_on: Callable[[], bool]) -> tuple[int, bool]:
        """Some events: how many were heard, and whether there may be more."""
        try:
            with self.db.read(shop_id) as unit:
                listener, secrets = listeners.get_listener(unit, listener_id), listeners.secrets_of(unit, listener_id)
                again = listeners.wanted_again(unit, listener_id, limit=BATCH)
                news = () if again else listeners.events_after(unit, listener.heard, limit=BATCH)
        except NotFound:  # dropped meanwhile
            return 0, False
        if listener.state != listeners.ON:
            return 0, False
        told = 0
        for one in again or news:
            if not again and listener.kinds and one.event.kind not in listener.kinds:
                continue
            began = self.clock()
            after = self._one(shop_id, listener, secrets, one, again=bool(again)) if go_on() else None
            if after is None:
                return told, False
            listener, told = after, told + 1
            if self.clock() - began > SLOW:
                return told, False
        passed = news and listener.heard < news[-1].seq  # the last ones are of kinds that it does not want
        if passed and not self._write(shop_id, listener.id, heard=news[-1].seq):
            return told, False
        return told, bool(again or news)

    def _one(
        self, shop_id: str, listener: Listener, secrets: Secrets, one: Numbered, *, again: bool
    ) -> Listener | None:  # fmt: skip
        """One event; how the listener stands when the next may follow, else None."""
        body = body_of(one.event, shop_id=shop_id, number=one.number)
        self.fault("before_call")
        said = self._call(listener, secrets, one.event.id, body)
        self.fault("after_call")
        heard = meaning(said.status)
        if heard is not Heard.TAKEN:
            return self._trouble(shop_id, listener, one, said, heard, again=again)
        well = replace(listener, attempts=0, trouble="", trouble_since=None, heard=listener.heard if again else one.seq)
        with self.db.write_beside(shop_id) as unit:
            if again:
                listeners.drop_refused(unit, listener.id, [one.event.id])
            kept = self._hold(unit, well, next_at=None)
        self.fault("after_record")
        return well if kept else None

    def _call(self, listener: Listener, secrets: Secrets, call_id: str, body: bytes) -> Said:
        now = self.clock()
        try:
            place = listener_target(secrets.address, self.inner_hosts)
        except Misconfigured:  # it was taken off the list of inner hosts
            return Said(0, "address")
        old = listener.old_until is not None and now < listener.old_until and secrets.old_secret
        keys = [signed_call.read_secret(one) for one in (secrets.secret, secrets.old_secret if old else "") if one]
        headers = signed_call.headers(keys, call_id, int(now.timestamp()), body)
        headers["Content-Type"] = "application/cloudevents+json; charset=utf-8"
        caller = Caller(place, patience=self.patience, most=LARGEST_ANSWER, ca_file=self.ca_file,
                        resolve=self.resolve, whom="listener")  # fmt: skip
        try:
            return _said(caller.call("POST", headers, body), now)
        except (NotSent, NoAnswer) as error:
            return Said(0, error.code)

    def _trouble(
        self, shop_id: str, listener: Listener, one: Numbered, said: Said, heard: Heard, *, again: bool
    ) -> Listener | None:  # fmt: skip
        """Writes down what was in the way; how it stands when the next event may follow at once, else None."""
        now, code = self.clock(), said.trouble or f"http-{said.status}"
        same = not listener.trouble or _of(listener.trouble) is heard
        held = replace(listener, attempts=(listener.attempts if same else 0) + 1, trouble=code,
                       trouble_since=listener.trouble_since or now)  # fmt: skip
        since = held.trouble_since or now
        then = follows(heard, held.attempts, since=since, now=now, jitter=self.jitter(), asked=said.asked)
        passed_by = then.passed_by or (again and heard is Heard.REFUSED)  # offered once more, it was asked once
        if passed_by:
            held = listener if again else replace(held, attempts=0, heard=one.seq)
        with self.db.write_beside(shop_id) as unit:
            if passed_by:
                listeners.add_refused(unit, listener.id, one, status=said.status, at=now)
            state = {"state": listeners.PAUSED} if then.paused and not passed_by else {}
            kept = self._hold(unit, held, next_at=None if passed_by else then.at, **state)
        log.warning("a listener did not take an event (%s)%s", code, "; it is paused" if state else "")
        return held if passed_by and kept else None

    def _write(self, shop_id: str, listener_id: str, **columns: object) -> bool:
        with self.db.write_beside(shop_id) as unit:
            return listeners.hold(unit, listener_id, by=self.name, until=self.clock() + LEASE, **columns)

    def _hold(self, unit: Unit, listener: Listener, **columns: object) -> bool:
        """Writes how it stands; whether it is still ours to tell."""
        told = {name: getattr(listener, name) for name in ("heard", "attempts", "trouble", "trouble_since")}
        until = self.clock() + LEASE
        return listeners.hold(unit, listener.id, by=self.name, until=until, **told, **columns)


def _of(code: str) -> Heard:
    """What kind of trouble a noted code was."""
    status = code.removeprefix("http-")
    return meaning(int(status)) if status.isdecimal() else Heard.LATER


def _said(answer: Answer, now: datetime) -> Said:
    return Said(answer.status, asked=_asked(answer.retry_after, now))


def _asked(retry_after: str, now: datetime) -> datetime | None:
    """When to come again: seconds, or a date (RFC 9110 10.2.3); None where nothing sensible was said."""
    text = retry_after.strip()
    try:
        if text.isascii() and text.isdecimal():
            return now + timedelta(seconds=min(int(text[:9]), 10**7))
        found = parsedate_to_datetime(text)
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)

"""Sends what is prepared: one after the other while the far end is quick, several at once where it is slow."""

from __future__ import annotations

import threading
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue

from notify.channels.base import Channel, Outgoing, Receipt, lines_of
from notify.store.messages import Composed, Message

GROUP = 10  # so many may be repeated by a crash between sending and settling
SLOW = 0.005  # seconds for one message; a thread of its own costs a hundredth of that (measured)
SETTLE_WITHIN = 0.2  # seconds that an answer waits for others to be settled together with it
Ready = tuple[Message, Outgoing, Composed]


@dataclass(frozen=True, slots=True)
class Sent:
    """A message that was offered, with the answer; None when it was not offered after all."""

    message: Message
    composed: Composed
    receipt: Receipt | None


@dataclass(slots=True)
class Sender:
    """Offers messages to channels. `ticks` counts seconds and never goes back; `fault` is told of crash points.

    Which channels are slow is learned from their last answer and remembered from batch to batch.
    """

    channels: Mapping[str, Channel]
    ticks: Callable[[], float]
    fault: Callable[[str], None]
    _slow: set[str] = field(default_factory=set)

    def send_all(self, ready: Sequence[Ready], *, may_go: Callable[[], bool]) -> Iterator[list[Sent]]:
        """Sends all and gives groups to be settled; never are more than GROUP sent, or on their way, and not given.

        `may_go` is asked before each: once it says no, the rest is given back as not offered.
        """
        todo, back, flying = deque(ready), _Back(), Counter[str]()
        done: list[Sent] = []
        while todo or flying.total():
            room = GROUP - len(done) - flying.total()
            item = self._next(todo, flying) if room else None
            if item is not None:
                if not may_go():
                    done.append(Sent(item[0], item[2], None))
                elif self._goes_alone(item):
                    done.append(self._offer(item))
                else:
                    flying[item[2].channel] += 1
                    threading.Thread(target=self._fly, args=(item, back), name="shelfbell-line", daemon=True).start()
                continue
            landed = back.wait(None if not done else SETTLE_WITHIN if room else 0) if flying else []
            flying.subtract(one.composed.channel for one in landed)
            done += landed
            if done and not (landed and room):
                yield done
                done = []
        if done:
            yield done

    def _goes_alone(self, item: Ready) -> bool:
        channel = item[2].channel
        return channel not in self._slow or lines_of(self.channels[channel]) == 1

    def _next(self, todo: deque[Ready], flying: Counter[str]) -> Ready | None:
        """The first whose channel has a free line."""
        for at, item in enumerate(todo):
            channel = item[2].channel
            if flying[channel] < lines_of(self.channels[channel]):
                del todo[at]
                return item
        return None

    def _fly(self, item: Ready, back: _Back) -> None:
        try:
            back.put(self._offer(item))
        except BaseException as error:  # told where somebody hears it
            back.put(error)

    def _offer(self, item: Ready) -> Sent:
        message, outgoing, composed = item
        began = self.ticks()
        receipt = self.channels[composed.channel].send(outgoing)
        note = self._slow.add if self.ticks() - began > SLOW else self._slow.discard
        note(composed.channel)
        self.fault("after_send")
        return Sent(message, composed, receipt)


class _Back:
    """Where threads put what came of their message."""

    def __init__(self) -> None:
        self._queue: SimpleQueue[Sent | BaseException] = SimpleQueue()

    def put(self, what: Sent | BaseException) -> None:
        self._queue.put(what)

    def wait(self, seconds: float | None) -> list[Sent]:
        """What came back, after waiting for the first so long at most; None: as long as it takes."""
        landed: list[Sent] = []
        try:
            while True:
                got = self._queue.get(timeout=seconds) if not landed and seconds != 0 else self._queue.get_nowait()
                if isinstance(got, BaseException):
                    raise got
                landed.append(got)
        except Empty:
            return landed

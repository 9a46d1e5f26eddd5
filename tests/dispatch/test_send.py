"""Sending a batch: by the caller alone while the far end is quick, over several connections where it is slow."""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.dispatch.pace import LEAST, MOST, Pace
from notify.dispatch.send import GROUP, Ready, Sender
from notify.store.messages import Composed

PATIENCE = 60.0


@dataclass
class Line:
    """A channel with `lines` places that notes who sends what, and how many at once."""

    lines: int = 8
    act: Callable[[str], None] = lambda to: time.sleep(0.002)
    sent: list[str] = field(default_factory=list)
    threads: set[str] = field(default_factory=set)
    at_once: int = 0
    most: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def send(self, outgoing: Outgoing, /) -> Receipt:
        with self.lock:
            self.at_once += 1
            self.most = max(self.most, self.at_once)
            self.threads.add(threading.current_thread().name)
            self.sent.append(outgoing.to)
        self.act(outgoing.to)
        with self.lock:
            self.at_once -= 1
        return Receipt(Verdict.ACCEPTED, "250")


def ready(n: int, channel: str = "email") -> list[Ready]:
    """Messages that need no row: the sender looks at nothing but channel and envelope."""
    message: Any = object()
    composed = Composed(b"x", "<x@example.org>", "", channel, "")
    return [(message, Outgoing(f"<{at}@example.org>", str(at), "", b""), composed) for at in range(n)]


def slow() -> Callable[[], float]:
    """A counter of seconds by which every message takes one."""
    count = itertools.count()
    return lambda: float(next(count))


def quick() -> Callable[[], float]:
    """A counter of seconds that stands still."""
    return lambda: 0.0


def sender(line: Any, ticks: Callable[[], float], fault: Callable[[str], None] = lambda point: None) -> Sender:
    return Sender({"email": line}, ticks, fault)


def test_while_the_far_end_is_quick_the_caller_sends_alone_in_order_and_settles_by_tens() -> None:
    line = Line()
    groups = list(sender(line, quick()).send_all(ready(25), may_go=lambda: True))
    assert [len(group) for group in groups] == [10, 10, 5]
    assert line.sent == [str(at) for at in range(25)]
    assert line.threads == {threading.current_thread().name}


def test_a_slow_far_end_gets_as_many_at_once_as_it_takes_and_never_more() -> None:
    together = threading.Barrier(4)
    first = threading.Event()

    def meet(_: str) -> None:
        if first.is_set():  # after the first, which shows that the far end is slow
            together.wait(PATIENCE)
            time.sleep(0.02)  # a fifth would come now
        first.set()

    line = Line(lines=4, act=meet)
    groups = list(sender(line, slow()).send_all(ready(25), may_go=lambda: True))
    assert sum(map(len, groups)) == 25 and sorted(map(int, line.sent)) == list(range(25))
    assert line.most == 4  # the barrier proves four; the count, that a fifth never came


@pytest.mark.parametrize("lines", [1, 3, 8, 16])
def test_no_more_than_ten_are_sent_or_on_their_way_and_not_settled(lines: int) -> None:
    line = Line(lines=lines)
    settled, most = 0, 0
    for group in sender(line, slow()).send_all(ready(60), may_go=lambda: True):
        most = max(most, len(line.sent) - settled)
        time.sleep(0.005)  # settling takes its time, and others may be on their way meanwhile
        most = max(most, len(line.sent) - settled)
        settled += len(group)
    print(f"FIGURE unsettled lines={lines} messages=60 most_sent_and_not_settled={most} limit={GROUP}")
    assert settled == 60 and most <= GROUP


def test_one_that_gets_no_answer_does_not_keep_the_others_from_being_settled() -> None:
    answer = threading.Event()

    def act(to: str) -> None:
        if to == "5":
            answer.wait(PATIENCE)

    line = Line(act=act)
    groups = sender(line, slow()).send_all(ready(9), may_go=lambda: True)
    settled = 0
    while settled < 8:
        settled += len(next(groups))
    assert not answer.is_set() and settled == 8
    answer.set()
    assert [len(group) for group in groups] == [1]


def test_what_may_not_go_any_more_is_given_back_as_not_offered() -> None:
    line, left = Line(), iter([True] * 3 + [False] * 30)
    groups = list(sender(line, quick()).send_all(ready(12), may_go=lambda: next(left)))
    answers = [one.receipt is not None for group in groups for one in group]
    assert line.sent == ["0", "1", "2"] and answers == [True] * 3 + [False] * 9


def test_a_fault_in_a_sending_thread_reaches_the_caller() -> None:
    seen = itertools.count()

    def fault(point: str) -> None:
        if next(seen) == 3:
            raise RuntimeError(point)

    with pytest.raises(RuntimeError, match="after_send"):
        list(sender(Line(), slow(), fault).send_all(ready(12), may_go=lambda: True))


def test_a_channel_without_a_word_about_it_gets_one_message_after_the_other() -> None:
    class Plain:
        def __init__(self) -> None:
            self.line = Line()

        def send(self, outgoing: Outgoing, /) -> Receipt:
            return self.line.send(outgoing)

    plain = Plain()
    list(sender(plain, slow()).send_all(ready(12), may_go=lambda: True))
    assert plain.line.most == 1 and plain.line.sent == [str(at) for at in range(12)]


def test_a_batch_grows_while_full_ones_leave_within_a_second_and_shrinks_when_one_takes_longer() -> None:
    pace = Pace()
    sizes = []
    for claimed, seconds in ((10, 0.1), (20, 0.1), (40, 0.1), (50, 0.1), (50, 3.0), (25, 3.0), (12, 3.0), (3, 0.1)):
        assert claimed <= pace.size
        pace.note(claimed, seconds)
        sizes.append(pace.size)
    assert sizes == [20, 40, MOST, MOST, 25, 12, LEAST, LEAST]

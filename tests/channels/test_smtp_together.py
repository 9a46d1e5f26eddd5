"""Commands sent together (RFC 2920) and lines that rest in a pool: every failure is judged as it is one by one."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from notify.channels.base import Verdict
from notify.channels.smtp import SmtpChannel
from tests.channels.conftest import outgoing
from tests.channels.scripted import Fault, ScriptedServer, say
from tests.channels.test_smtp_faults import FAULTS, UNHURRIED, broken_at, each_cell, within

__all__ = ["broken_at"]  # a fixture of the faults one by one, used here as well
pytestmark = pytest.mark.real

TOGETHER = (b"PIPELINING",)
Made = tuple[ScriptedServer, SmtpChannel]


def test_no_failure_of_commands_sent_together_loses_or_misjudges_a_message(broken_at: Callable[..., Made]) -> None:
    cells = each_cell(("ehlo", "mail", "rcpt", "data", "dot", "quit"), broken_at, offers=TOGETHER)
    wrong = [f"{one.step}/{one.name}: {one.receipts[0].code}" for one in cells if one.wrong or one.wrong_end]
    shown, lost = sum(one.shown for one in cells), sum(one.lost for one in cells)
    print(f"FIGURE smtp_together_faults cells={len(cells)} faults_shown={shown} lost={lost} wrong_verdict={len(wrong)}")
    assert (shown, lost, wrong) == (len(cells), 0, [])


@pytest.mark.parametrize("offers", [TOGETHER, ()], ids=["offered", "not offered"])
def test_commands_come_together_only_where_the_server_offers_it(
    offers: tuple[bytes, ...], broken_at: Callable[..., Made]
) -> None:
    waiting: list[bytes] = []

    def look(sock: socket.socket, good: bytes) -> None:
        time.sleep(0.05)  # all three leave in one piece; without the offer nothing may come before the answer
        sock.setblocking(False)
        try:
            waiting.append(sock.recv(4096, socket.MSG_PEEK))
        except BlockingIOError:
            waiting.append(b"")
        sock.setblocking(True)
        sock.sendall(good)

    server, channel = broken_at("mail", look, offers=offers)
    assert channel.send(outgoing()).verdict is Verdict.ACCEPTED
    assert waiting == [b"RCPT TO:<pat@example.org>\r\nDATA\r\n" if offers else b""]
    assert server.kept == [outgoing().payload]


def test_a_server_that_wants_the_text_of_a_refused_message_never_gets_one(broken_at: Callable[..., Made]) -> None:
    # RFC 2920 3.1: "the client cannot assume that the DATA command will be rejected"; this server takes it.
    server, channel = broken_at("rcpt", FAULTS["5xx"], offers=TOGETHER)
    with within(UNHURRIED / 2):  # nothing more is said on that line, and so nothing is waited for
        receipt = channel.send(outgoing(1))
    assert (receipt.verdict, receipt.code) == (Verdict.NEVER, "rcpt-550")
    assert channel.send(outgoing(2)).verdict is Verdict.ACCEPTED
    assert (server.kept, server.connections) == ([outgoing(2).payload], 2)


def test_a_surplus_answer_is_never_taken_for_the_next_commands(broken_at: Callable[..., Made]) -> None:
    server, channel = broken_at("mail", say(b"250 2.1.0 ok\r\n250 2.1.0 ok\r\n"), offers=TOGETHER)
    assert channel.send(outgoing()).verdict is Verdict.TRY_LATER
    assert server.kept == []


def test_no_more_lines_are_opened_than_messages_leave_at_once_and_one_sender_keeps_to_one(
    scripted: Callable[..., ScriptedServer], channel_to: Callable[..., SmtpChannel]
) -> None:
    together = threading.Barrier(3)

    def meet(sock: socket.socket, good: bytes) -> None:
        together.wait(timeout=60)  # answers only once three are under way
        sock.sendall(good)

    server = scripted(fault=Fault("rcpt", meet, times=3))
    channel = channel_to(server.port)
    verdicts: list[Any] = []
    threads = [
        threading.Thread(target=lambda n=n: verdicts.append(channel.send(outgoing(n)).verdict)) for n in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert verdicts == [Verdict.ACCEPTED] * 3
    assert server.connections == 3
    assert [channel.send(outgoing(number)).verdict for number in range(10, 20)] == [Verdict.ACCEPTED] * 10
    assert server.connections == 3
    channel.close()
    assert channel.send(outgoing(99)).verdict is Verdict.ACCEPTED  # a closed channel opens again
    assert server.connections == 4

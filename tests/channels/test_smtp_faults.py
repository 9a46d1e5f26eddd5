"""The SMTP channel against every way in which a server can fail at every step."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import product
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.channels.smtp import SmtpChannel
from notify.core.retry import next_try
from tests.channels.conftest import outgoing
from tests.channels.scripted import STEPS, Fault, ScriptedServer, and_more, drip, drop, say, split, stall, then_hang_up
from tests.parts.certificates import Certificates

pytestmark = [
    pytest.mark.real,
    # SSLSocket._create loses its socket when the peer reset the connection before the wrapping (CPython 3.11 ssl.py:
    # `raise` without a close); the collector closes it, and says so.
    pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"),
]

PATIENCE = 1.5  # seconds a step may take where the server says nothing for ever
UNHURRIED = 60.0  # and everywhere else, where a slow machine must not look like a silent server
AT_ONCE = 9  # cells that wait beside each other
START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)

FAULTS: dict[str, Callable[..., None]] = {
    "4xx": say(b"451 4.3.0 later, pat@example.org\r\n"),
    "421": say(b"421 4.3.2 going down\r\n"),
    "5xx": say(b"550 5.1.1 <pat@example.org> pat unknown, ask +44 7700 900123\r\n"),
    "drop": drop,
    "stall": stall,
    "drip": drip,
    "garbage": say(b"\x00\xff what?\r\n"),
    "odd code": say(b"399 2.0.0 who knows\r\n"),
    "two codes": say(b"250-2.0.0 yes\r\n550 5.0.0 no\r\n"),
    "split line": split,
    "good then 421": then_hang_up,
}


def expected(step: str, fault: str) -> Verdict:
    """Written out apart from the channel's code: RFC 5321 4.2.1 for the digits, RFC 1047 for the final dot."""
    if step == "quit" or fault == "split line" or (step == "dot" and fault == "good then 421"):
        return Verdict.ACCEPTED
    if fault == "5xx" and step in ("mail", "rcpt", "data", "dot"):
        return Verdict.NEVER
    if step == "dot" and fault in ("drop", "stall", "drip", "garbage", "odd code", "two codes"):
        return Verdict.UNKNOWN
    return Verdict.TRY_LATER


@pytest.fixture
def broken_at(
    scripted: Callable[..., ScriptedServer], channel_to: Callable[..., SmtpChannel], certificates: Certificates
) -> Callable[..., tuple[ScriptedServer, SmtpChannel]]:
    """A server that fails at `step`, and a channel to it; TLS and sign-in where the step needs them."""

    def make(step: str, act: Callable[..., None], *, times: int = 1, **more: Any) -> tuple[ScriptedServer, SmtpChannel]:
        patience = PATIENCE if act in (stall, drip) else UNHURRIED
        given = {"port_settings": {"timeout": patience, "timeout_after_dot": patience}, **more}
        settings = given.pop("port_settings")
        if step in ("star", "auth"):
            given |= {"context": certificates.server_context(), "starttls": step == "star"}
            given["offers"] = (b"STARTTLS",) if step == "star" else (b"AUTH PLAIN LOGIN",)
            settings |= {"security": "starttls" if step == "star" else "tls", "ca_file": certificates.ca_file}
            settings |= {"username": "shop", "password": "geheim-ß"} if step == "auth" else {}
        server = scripted(fault=Fault(step, act, times), **given)
        return server, channel_to(server.port, **settings)

    return make


@contextmanager
def within(seconds: float) -> Iterator[None]:
    started = time.monotonic()
    yield
    assert time.monotonic() - started < seconds


def live(channel: SmtpChannel, message: Outgoing, *, until: timedelta) -> tuple[list[Receipt], datetime | None]:
    """Offer a message as the dispatcher would, on a clock of its own, until it is taken, refused or too late."""
    receipts, now = [channel.send(message)], START
    while receipts[-1].verdict in (Verdict.TRY_LATER, Verdict.UNKNOWN):
        due = next_try(len(receipts), first_at=START, now=now, jitter=0.5, expires_at=START + until)
        if due is None:
            return receipts, now
        now = due
        receipts.append(channel.send(message))
    return receipts, None


@dataclass(frozen=True, slots=True)
class Cell:
    """What became of one message whose server failed twice, with fault `name` at `step`."""

    step: str
    name: str
    receipts: list[Receipt]
    gave_up: bool
    shown: bool
    kept: bool
    seconds: float

    @property
    def wrong(self) -> bool:
        return self.receipts[0].verdict is not expected(self.step, self.name)

    @property
    def wrong_end(self) -> bool:
        never = expected(self.step, self.name) is Verdict.NEVER
        return self.receipts[-1].verdict is not (Verdict.NEVER if never else Verdict.ACCEPTED)

    @property
    def lost(self) -> bool:
        return self.receipts[-1].verdict is Verdict.ACCEPTED and not self.kept

    @property
    def leaked(self) -> bool:
        words = " ".join(receipt.text + receipt.code for receipt in self.receipts).replace("patience", "")
        return "pat" in words or "7700" in words or "geheim" in words


def each_cell(steps: Iterable[str], broken_at: Callable[..., Any], **more: Any) -> list[Cell]:
    """Every fault at every step, each with a server and a channel of its own, several beside each other."""

    def one(at: int, step: str, name: str) -> Cell:
        server, channel = broken_at(step, FAULTS[name], times=2, **more)
        message, started = outgoing(at), time.monotonic()
        receipts, gave_up_at = live(channel, message, until=timedelta(days=2))
        channel.close()
        took = time.monotonic() - started
        return Cell(step, name, receipts, gave_up_at is not None, server.faults_shown > 0,
                    message.payload in server.kept, took)  # fmt: skip

    pairs = list(product(steps, FAULTS))
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(one, range(len(pairs)), *zip(*pairs, strict=True)))


def test_no_failure_at_any_step_loses_or_misjudges_a_message(broken_at: Callable[..., Any]) -> None:
    cells = each_cell(STEPS, broken_at)
    wrong = [f"{one.step}/{one.name}: {one.receipts[0].code}" for one in cells if one.wrong]
    shown, lost = sum(one.shown for one in cells), sum(one.lost for one in cells)
    wrong_end, gave_up = sum(one.wrong_end for one in cells), sum(one.gave_up for one in cells)
    retried = sum(one.receipts[0].verdict is Verdict.NEVER and len(one.receipts) > 1 for one in cells)
    leaked, slowest = sum(one.leaked for one in cells), max(one.seconds for one in cells)
    print(
        f"FIGURE smtp_fault_matrix cells={len(cells)} faults_shown={shown} lost={lost} wrong_verdict={len(wrong)} "
        f"wrong_final_state={wrong_end} retried_5xx={retried} gave_up_4xx_before_deadline={gave_up} "
        f"texts_with_an_address={leaked} slowest_s={slowest:.2f} patience_s={PATIENCE}"
    )
    assert wrong == []
    assert shown == len(cells) >= 60
    assert (lost, wrong_end, retried, gave_up, leaked) == (0, 0, 0, 0, 0)


@pytest.mark.parametrize("step", ["banner", "ehlo", "star", "auth", "mail", "rcpt", "data", "dot"])
def test_a_server_that_says_later_for_ever_is_asked_until_the_deadline(
    broken_at: Callable[..., Any], step: str
) -> None:
    server, channel = broken_at(step, FAULTS["4xx"], times=10_000)
    receipts, gave_up_at = live(channel, outgoing(), until=timedelta(days=2))
    assert {receipt.verdict for receipt in receipts} == {Verdict.TRY_LATER}
    assert gave_up_at is not None
    assert gave_up_at >= START + timedelta(days=2) - timedelta(minutes=10)
    assert len(receipts) > 20
    assert server.kept == []


@pytest.mark.parametrize("step", ["banner", "ehlo", "star", "auth"])
def test_a_refusal_of_the_shop_itself_waits_and_says_where_to_look(broken_at: Callable[..., Any], step: str) -> None:
    _, channel = broken_at(step, say(b"554 5.7.0 not you\r\n"), times=1)
    receipt = channel.send(outgoing())
    shown = {"star": "starttls"}.get(step, step)
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, f"{shown}-554")
    assert receipt.text
    assert channel.send(outgoing()).verdict is Verdict.ACCEPTED


@pytest.mark.parametrize("code", [530, 534, 535, 538])
def test_a_demand_to_sign_in_is_about_the_shop_at_any_step(broken_at: Callable[..., Any], code: int) -> None:
    _, channel = broken_at("mail", say(f"{code} 5.7.0 authentication required\r\n".encode()))
    assert channel.send(outgoing()).verdict is Verdict.TRY_LATER


def test_a_lost_250_is_unknown_and_the_retry_carries_the_same_bytes(broken_at: Callable[..., Any]) -> None:
    same_id = same_bytes = unknown = 0
    for number in range(50):
        server, channel = broken_at("dot", drop, keep_before_fault=True)
        message = outgoing(number)
        unknown += channel.send(message).verdict is Verdict.UNKNOWN
        assert channel.send(message).verdict is Verdict.ACCEPTED
        first, second = server.kept
        same_bytes += first == second == message.payload
        line = f"Message-ID: {message.message_id}\r\n".encode()
        same_id += line in first and line in second
        channel.close()
    print(f"FIGURE ambiguous_250 ambiguous={unknown} same_message_id={same_id} same_bytes={same_bytes}")
    assert (unknown, same_id, same_bytes) == (50, 50, 50)


def test_a_surplus_reply_is_never_taken_for_the_answer_to_the_next_message(broken_at: Callable[..., Any]) -> None:
    server, channel = broken_at("dot", say(b"250 2.0.0 kept\r\n250 2.0.0 kept again\r\n"), keep_before_fault=True)
    assert channel.send(outgoing(1)).verdict is Verdict.ACCEPTED
    server.fault = Fault("rcpt", FAULTS["5xx"], times=2)
    receipt = channel.send(outgoing(2))
    assert (receipt.verdict, receipt.code) == (Verdict.NEVER, "rcpt-550")
    assert server.connections == 2


def test_a_refused_recipient_leaves_the_connection_fit_for_the_next(broken_at: Callable[..., Any]) -> None:
    server, channel = broken_at("rcpt", FAULTS["5xx"])
    assert channel.send(outgoing(1)).verdict is Verdict.NEVER
    assert channel.send(outgoing(2)).verdict is Verdict.ACCEPTED
    assert server.connections == 1
    assert "RSET" in [told.upper() for told in server.told]


def test_a_server_that_hung_up_while_we_were_idle_is_called_again_at_once(broken_at: Callable[..., Any]) -> None:
    server, channel = broken_at("dot", then_hang_up)
    assert [channel.send(outgoing(number)).verdict for number in (1, 2)] == [Verdict.ACCEPTED] * 2
    assert (server.connections, len(server.kept)) == (2, 2)


def test_a_connection_idle_for_longer_than_the_limit_is_not_used_again(
    scripted: Callable[..., ScriptedServer], channel_to: Callable[..., SmtpChannel]
) -> None:
    now = [100.0]
    server = scripted()
    channel = channel_to(server.port, clock=lambda: now[0], idle_limit=30.0)
    for wait in (0.0, 29.0, 31.0):
        now[0] += wait
        assert channel.send(outgoing()).verdict is Verdict.ACCEPTED
    assert server.connections == 2


def test_the_wait_after_the_dot_is_its_own_and_longer(
    scripted: Callable[..., ScriptedServer], channel_to: Callable[..., SmtpChannel]
) -> None:
    def slowly(sock: Any, good: bytes) -> None:
        time.sleep(2.0)
        sock.sendall(good)

    server = scripted(fault=Fault("dot", slowly), keep_before_fault=True)
    channel = channel_to(server.port, timeout=1.0, timeout_after_dot=UNHURRIED)
    assert channel.send(outgoing()).verdict is Verdict.ACCEPTED
    assert len(server.kept) == 1


def test_a_server_that_never_stops_answering_is_left(broken_at: Callable[..., Any]) -> None:
    def flood(sock: Any, good: bytes) -> None:
        for _ in range(4000):
            sock.sendall(b"250-" + b"x" * 500 + b"\r\n")

    _, channel = broken_at("ehlo", flood)
    with within(UNHURRIED / 2):
        assert channel.send(outgoing()).code == "ehlo-garbage"


def test_nobody_at_the_door_and_no_such_name_are_told_apart(channel_to: Callable[..., SmtpChannel]) -> None:
    gone = channel_to(1)
    receipt = gone.send(outgoing())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "connect-refused")
    nameless = channel_to(25, host="a..b").send(outgoing())
    assert (nameless.verdict, nameless.code) == (Verdict.TRY_LATER, "connect-name")


def test_words_spoken_before_encryption_began_are_not_trusted(broken_at: Callable[..., Any]) -> None:
    server, channel = broken_at("star", and_more)
    receipt = channel.send(outgoing())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "starttls-garbage")
    assert server.kept == []

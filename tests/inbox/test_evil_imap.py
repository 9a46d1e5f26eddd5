"""A server that answers what no server should: nothing but our own errors comes out, and no memory is filled."""

from __future__ import annotations

import socket
import threading
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime

import pytest

from notify.core.errors import Conflict, Misconfigured, NotifyError
from notify.inbox.imap import ImapPlace, open_imap
from notify.inbox.letter import read_letter
from tests.parts.letters import letter

pytestmark = pytest.mark.real
HELLO = b"* OK hello\r\n"
HONEST: dict[str, bytes] = {
    "CAPABILITY": b"* CAPABILITY IMAP4rev1 UIDPLUS\r\n",
    "LOGIN": b"",
    "NOOP": b"",
    "SELECT": b"* 2 EXISTS\r\n* OK [PERMANENTFLAGS (\\Seen \\*)] x\r\n* OK [UIDVALIDITY 7] x\r\n",
    "SEARCH": b"* SEARCH 1 2\r\n",
    "SIZE": b"* 1 FETCH (UID 1 RFC822.SIZE 300)\r\n* 2 FETCH (UID 2 RFC822.SIZE 300)\r\n",
    "BODY": b"",
    "STORE": b"",
    "EXPUNGE": b"",
    "LOGOUT": b"* BYE\r\n",
}


class Server:
    """Speaks a few words of IMAP on a loopback port; `answers` replaces what it says to one kind of command."""

    def __init__(self, answers: dict[str, bytes], *, hello: bytes = HELLO, cut_on: str = "") -> None:
        self._answers, self._hello, self._cut_on = HONEST | answers, hello, cut_on
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.connections = 0
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Wakes the thread that waits for a caller, too: closing alone would let it take one more."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._listener.close()

    def _serve(self) -> None:
        with suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                self.connections += 1
                threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection: socket.socket) -> None:
        with suppress(OSError, ValueError), connection, connection.makefile("rb") as asked:
            connection.sendall(self._hello)
            for line in asked:
                tag, words = line.split(maxsplit=1)
                kind = next(kind for kind in HONEST if kind.encode() in words.upper())
                if self._cut_on and self._cut_on.encode() in words:
                    return
                answer = self._body(words) if kind == "BODY" and not self._answers["BODY"] else self._answers[kind]
                end = b"" if answer.startswith((b"NO", b"BAD")) else b"OK done\r\n"
                connection.sendall(tag + b" " + answer if not end else answer + tag + b" " + end)

    def _body(self, words: bytes) -> bytes:
        uid = words.split()[2]
        raw = letter(body=f"Letter {uid.decode()}.\n")
        return b"* %s FETCH (UID %s BODY[]<0> {%d}\r\n%s)\r\n" % (uid, uid, len(raw), raw)


@contextmanager
def serving(answers: dict[str, bytes], *, hello: bytes = HELLO, cut_on: str = "") -> Iterator[Server]:
    server = Server(answers, hello=hello, cut_on=cut_on)
    try:
        yield server
    finally:
        server.close()


def take_all(server: Server) -> list[str]:
    """What the poller does: every letter read and marked, then the old ones removed."""
    box = open_imap(ImapPlace("127.0.0.1", server.port, "shop", "secret-word", "none", timeout=1))
    texts = []
    try:
        for held in box.letters():
            texts.append(read_letter(held.read(), size=held.size).text)
            box.done(held.uid)
        box.remove_older(datetime(2026, 11, 1, tzinfo=UTC))
    finally:
        box.close()
    return texts


def test_the_small_server_is_believed_when_it_is_honest() -> None:
    with serving({}) as server:
        assert take_all(server) == ["Letter 1.", "Letter 2."]


EVIL: dict[str, dict[str, bytes]] = {
    "a literal of ten gigabytes": {"BODY": b"* 1 FETCH (UID 1 BODY[]<0> {9999999999}\r\nx"},
    "a literal of astronomic size": {"BODY": b"* 1 FETCH (UID 1 BODY[]<0> {" + b"9" * 400 + b"}\r\nx"},
    "a literal that never comes": {"BODY": b"* 1 FETCH (UID 1 BODY[]<0> {500}\r\nshort"},
    "an endless line": {"SEARCH": b"* SEARCH " + b"1 " * 3_000_000},
    "endless lines": {"SEARCH": b"* SEARCH 1\r\n" * 600_000},
    "no such tag": {"SEARCH": b"zz99 OK done\r\n"},
    "octets": {"SEARCH": bytes(range(256)) + b"\r\n"},
    "identifiers that are none": {"SEARCH": b"* SEARCH 1 ) (BODY[] -3 \xff\xfe\r\n"},
    "an identifier of a million digits": {"SEARCH": b"* SEARCH " + b"9" * 900_000 + b"\r\n"},
    "sizes that are none": {
        "SIZE": b"* 1 FETCH (UID 1 RFC822.SIZE -1)\r\n* 2 FETCH (RFC822.SIZE 99999999999999999999)\r\n"
    },
    "a fetch of nothing": {"BODY": b"* 1 FETCH NIL\r\n"},
    "a fetch of another letter": {"BODY": b"* 9 FETCH (UID 99 BODY[]<0> {3}\r\nabc)\r\n"},
    "a refusal": {"BODY": b"NO not now\r\n"},
    "a refused mark": {"STORE": b"NO not now\r\n"},
    "a refused search": {"SEARCH": b"BAD what\r\n"},
    "a continuation": {"SEARCH": b"+ go on\r\n"},
    "a farewell": {"SELECT": b"* BYE now\r\n"},
    "odd rights": {"SELECT": b"* OK [PERMANENTFLAGS {3}\r\nabc] x\r\n"},
    "no capabilities": {"CAPABILITY": b"* CAPABILITY\r\n"},
    "capabilities that are octets": {"CAPABILITY": b"* CAPABILITY \xff\xfe\r\n"},
}


@pytest.mark.parametrize("name", EVIL)
def test_an_evil_answer_ends_in_one_of_our_errors_or_in_nothing_read(name: str) -> None:
    with serving(EVIL[name]) as server:
        told = _told(lambda: take_all(server))
    assert "secret-word" not in told and "127.0.0.1" not in told


@pytest.mark.parametrize(
    "hello", [b"", b"* BYE\r\n", b"HTTP/1.1 200 OK\r\n\r\n", b"\x16\x03\x01\r\n", b"x" * 2_000_000]
)
def test_a_server_of_another_kind_is_told_as_such(hello: bytes) -> None:
    with serving({}, hello=hello) as server, pytest.raises(Conflict):
        take_all(server)


def test_a_port_where_nobody_answers_is_told_as_such() -> None:
    with serving({}) as server:
        pass
    with pytest.raises(Conflict):
        take_all(server)


def test_a_refused_sign_in_does_not_repeat_the_password() -> None:
    with serving({"LOGIN": b"NO secret-word is wrong\r\n"}) as server, pytest.raises(Misconfigured) as caught:
        take_all(server)
    assert "secret-word" not in str(caught.value) and caught.value.__suppress_context__


def test_a_letter_that_breaks_the_connection_does_not_keep_the_next_one_away() -> None:
    """TESTPLAN D15: one bad mail never blocks the next, also when it is the server that stumbles over it."""
    with serving({}, cut_on="FETCH 1 (BODY") as server:
        box = open_imap(ImapPlace("127.0.0.1", server.port, "shop", "x", "none", timeout=1))
        first, second = box.letters()
        with pytest.raises(Conflict):
            first.read()
        assert read_letter(second.read()).text == "Letter 2."
        box.done(second.uid)
        box.close()
        assert server.connections == 2


def test_a_claimed_literal_is_not_made_room_for() -> None:
    with serving({"BODY": b"* 1 FETCH (UID 1 BODY[]<0> {999999999}\r\nx"}) as server:
        tracemalloc.start()
        _told(lambda: take_all(server))
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    print(f"FIGURE evil_imap answers={len(EVIL)} foreign_errors=0 peak_kb={peak / 1000:.0f}")
    assert peak < 20_000_000


def _told(act: Callable[[], object]) -> str:
    try:
        act()
    except NotifyError as error:
        return str(error)
    return ""

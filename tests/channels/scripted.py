"""A mail server that follows a script: good until one step, then whatever the script says, as often as it says."""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

STEPS = ("banner", "ehlo", "star", "auth", "mail", "rcpt", "data", "dot", "quit")
GOOD = {
    "banner": b"220 mail.example.test ready\r\n",
    "ehlo": b"250-mail.example.test\r\n250-8BITMIME\r\n250 SIZE 1000000\r\n",
    "star": b"220 2.0.0 go ahead\r\n",
    "auth": b"235 2.7.0 welcome\r\n",
    "mail": b"250 2.1.0 sender ok\r\n",
    "rcpt": b"250 2.1.5 recipient ok\r\n",
    "data": b"354 go on\r\n",
    "dot": b"250 2.0.0 kept\r\n",
    "rset": b"250 2.0.0 cleared\r\n",
    "quit": b"221 2.0.0 bye\r\n",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """At `step`, do `act` instead of answering well, `times` times in all."""

    step: str
    act: Callable[[socket.socket, bytes], None]
    times: int = 1


def say(raw: bytes) -> Callable[[socket.socket, bytes], None]:
    """Answer with these bytes and go on."""
    return lambda sock, good: sock.sendall(raw)


def drop(sock: socket.socket, good: bytes) -> None:
    """Close the connection without a word."""
    sock.shutdown(socket.SHUT_RDWR)


def stall(sock: socket.socket, good: bytes) -> None:
    """Say nothing until the client has gone."""
    with suppress(OSError):
        while sock.recv(65536):
            pass


def split(sock: socket.socket, good: bytes) -> None:
    """The good answer, one octet at a time."""
    for octet in good:
        sock.sendall(bytes([octet]))


def drip(sock: socket.socket, good: bytes) -> None:
    """An answer that never ends: one octet now and then."""
    with suppress(OSError):
        while True:
            sock.sendall(b"2")
            time.sleep(0.05)


def then_hang_up(sock: socket.socket, good: bytes) -> None:
    """The good answer, then a 421 that nobody asked for, then the end."""
    sock.sendall(good + b"421 4.3.2 going down\r\n")
    sock.shutdown(socket.SHUT_RDWR)


def and_more(sock: socket.socket, good: bytes) -> None:
    """The good answer and, in the same breath, a second one that nobody asked for."""
    sock.sendall(good + b"250-mail.example.test\r\n250 AUTH PLAIN\r\n")


DRESSED = (split, then_hang_up, and_more)


@dataclass(slots=True)
class ScriptedServer:
    """Listens on a port of its own; what it kept (in spite of the fault, too) is in `kept`."""

    fault: Fault | None = None
    kept: list[bytes] = field(default_factory=list)
    told: list[str] = field(default_factory=list)  # commands in the order they came
    faults_shown: int = 0
    connections: int = 0
    keep_before_fault: bool = False  # at the dot: store first, then fail (the ambiguous 250)
    context: ssl.SSLContext | None = None  # TLS from the first octet, or after STARTTLS
    starttls: bool = False
    offers: tuple[bytes, ...] = ()  # further lines of the answer to EHLO
    port: int = 0
    _listener: socket.socket | None = None
    _threads: list[threading.Thread] = field(default_factory=list)
    _open: list[socket.socket] = field(default_factory=list)

    def start(self) -> ScriptedServer:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._run(self._accept)
        return self

    def stop(self) -> None:
        assert self._listener is not None
        for sock in (self._listener, *self._open):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
            sock.close()
        for thread in self._threads:
            thread.join(timeout=5)

    def _run(self, target: Callable[..., None], *args: object) -> None:
        thread = threading.Thread(target=target, args=args, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        assert self._listener is not None
        while True:
            try:
                sock, _ = self._listener.accept()
            except OSError:
                return
            self.connections += 1
            self._open.append(sock)
            self._run(self._serve, sock)

    def _serve(self, plain: socket.socket) -> None:
        with suppress(OSError), plain:
            sock: socket.socket = plain
            if self.context is not None and not self.starttls:
                sock = self.context.wrap_socket(plain, server_side=True)
            with sock:
                self._answer(sock, "banner")
                if self._converse(sock) == "star" and self.context is not None:
                    with self.context.wrap_socket(sock, server_side=True) as secure:
                        self._converse(secure)

    def _converse(self, sock: socket.socket) -> str:
        """Answer commands until the end, or until TLS was agreed; returns the last step."""
        step = ""
        with sock.makefile("rb", buffering=0) as raw:
            while line := raw.readline():
                step = line[:4].decode("ascii", "replace").strip().lower()
                self.told.append(line.decode("ascii", "replace").strip())
                if step not in GOOD:  # a TLS greeting, where the script never meant to encrypt
                    return step
                good = self._answer(sock, step)
                if step == "data" and good:
                    self._take_message(sock, raw.readline)
                if step == "quit" or (step == "star" and good):
                    return step
        return step

    def _take_message(self, sock: socket.socket, readline: Callable[[], bytes]) -> None:
        taken = []
        while (line := readline()) not in (b".\r\n", b""):
            taken.append(line[1:] if line.startswith(b".") else line)
        if line:
            self._answer(sock, "dot", content=b"".join(taken))

    def _answer(self, sock: socket.socket, step: str, *, content: bytes | None = None) -> bool:
        """Answer one step; True when the answer was the good one, however it was dressed."""
        good = GOOD[step]
        if step == "ehlo":
            good = good.replace(b"250 SIZE", b"".join(b"250-" + one + b"\r\n" for one in self.offers) + b"250 SIZE")
        fault = self.fault
        due = fault is not None and fault.step == step and self.faults_shown < fault.times
        well = fault is None or not due or fault.act in DRESSED
        if content is not None and (well or self.keep_before_fault):
            self.kept.append(content)  # before the answer, as a server does that means its 250
        if fault is None or not due:
            sock.sendall(good)
            return True
        self.faults_shown += 1
        fault.act(sock, good)
        return well

"""smtplib's client with every reply read under one deadline, whole and well formed."""

from __future__ import annotations

import re
import smtplib
import socket
import ssl
from collections.abc import Callable
from contextlib import suppress
from typing import Any

Clock = Callable[[], float]

# RFC 5321 4.5.3.1.5 allows 512 octets for a reply line; a whole reply this long is no reply any more.
REPLY_LIMIT = 64 * 1024
_REPLY_LINE = re.compile(rb"([2-5][0-9]{2})([ -]?)(.*)", re.DOTALL)


class Broken(smtplib.SMTPServerDisconnected):
    """No usable reply came: the argument says lost, timeout or garbage. The socket is closed by then."""


class Wire(smtplib.SMTP):
    """A client that waits `patience` seconds for a whole reply, not for its next octet.

    smtplib itself renews its timeout with every octet, so that a server that drips could hold a sender for
    ever, and it keeps surplus replies, which would then pass for the answers to the next message.
    """

    def __init__(self, host: str, port: int, *, name: str, patience: float, clock: Clock, **more: Any) -> None:
        """Connect and read the banner. `name` is what EHLO says, `clock` counts seconds."""
        self.patience = patience
        self.unread = b""
        self._clock = clock
        super().__init__(host, port, name, timeout=patience, **more)

    def send(self, s: Any) -> None:
        """Send all of `s` within `patience`. Raises Broken."""
        if self.sock is None:
            raise Broken("lost")
        data = s.encode("ascii") if isinstance(s, str) else s
        try:
            self.sock.settimeout(self.patience)  # reading may have left a shorter one
            self.sock.sendall(data)
        except (OSError, ValueError) as error:
            self.close()
            raise Broken("timeout" if isinstance(error, TimeoutError) else "lost") from None

    def getreply(self) -> tuple[int, bytes]:
        """The next reply, all its lines. Raises Broken, also for what is no SMTP reply (RFC 5321 4.2)."""
        try:
            return self._read_reply(self._clock() + self.patience)
        except Broken:
            self.close()
            raise

    def is_quiet(self) -> bool:
        """True while the line stands and nothing came unasked: no 421, no surplus reply, no end."""
        if self.sock is None or self.unread:
            return False
        try:
            self.sock.settimeout(0)
            self.sock.recv(1)
        except (BlockingIOError, ssl.SSLWantReadError):
            return True
        except OSError:
            return False
        return False

    def cut(self) -> None:
        """Close at once, waking a thread that may be reading here."""
        sock = self.sock
        if sock is not None:
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
        self.close()

    def _read_reply(self, ends: float) -> tuple[int, bytes]:
        code, goes_on, text = self._read_reply_line(ends)
        while goes_on:
            same, goes_on, more = self._read_reply_line(ends)
            text += b"\n" + more
            if same != code or len(text) > REPLY_LIMIT:
                raise Broken("garbage")
        return int(code), text

    def _read_reply_line(self, ends: float) -> tuple[bytes, bool, bytes]:
        """Its code, whether another line follows, and its text."""
        found = _REPLY_LINE.fullmatch(self._read_line(ends))
        if found is None:
            raise Broken("garbage")
        return found[1], found[2] == b"-", found[3].strip()

    def _read_line(self, ends: float) -> bytes:
        while b"\n" not in self.unread:
            left = ends - self._clock()
            if left <= 0:
                raise Broken("timeout")
            if len(self.unread) > REPLY_LIMIT:
                raise Broken("garbage")
            self.unread += self._receive(left)
        line, _, self.unread = self.unread.partition(b"\n")
        return line.rstrip(b"\r")

    def _receive(self, seconds: float) -> bytes:
        if self.sock is None:
            raise Broken("lost")
        try:
            self.sock.settimeout(seconds)
            received: bytes = self.sock.recv(8192)
        except (OSError, ValueError) as error:
            raise Broken("timeout" if isinstance(error, TimeoutError) else "lost") from None
        if not received:
            raise Broken("lost")
        return received


class TlsWire(Wire, smtplib.SMTP_SSL):
    """The same, inside TLS from the first octet; takes `context=`."""

"""A channel that hands messages to the shop's own mail server: one standing connection for each thread."""

from __future__ import annotations

import ssl
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from notify.channels.base import Outgoing, Receipt, Verdict, clean, refusal
from notify.channels.smtp_line import Doorway, Line, Security, Stopped
from notify.channels.smtp_wire import Clock
from notify.core.errors import Misconfigured

# RFC 4954 6: 530 sign in first, 534 and 538 another mechanism or encryption wanted, 535 refused. They speak
# about the shop's account, never about a recipient or a message.
ACCOUNT_CODES = frozenset({530, 534, 535, 538})
ABOUT_THE_MESSAGE = frozenset({"mail", "rcpt", "data", "dot"})
CLOSING_PATIENCE = 5.0

ADVICE = {
    "connect-name": "The mail server's name cannot be found; check smtp.host and the network.",
    "connect-refused": "Nothing answers at the mail server's port; check smtp.host and smtp.port.",
    "connect-timeout": "The mail server does not answer; check smtp.host, smtp.port and the network.",
    "starttls-missing": "The mail server offers no STARTTLS, so nothing was sent; check smtp.security.",
    "auth-missing": "The mail server offers no sign-in by PLAIN or LOGIN; check smtp.port and smtp.security.",
    "tls-handshake": "No TLS 1.2 or newer was agreed with the mail server; check smtp.security.",
    "ca-file": "The file named in smtp.ca_file cannot be read as certificates.",
    "auth": "The mail server refused to sign us in; check smtp.username and smtp.password.",
    "certificate": "Check smtp.host and smtp.ca_file.",
    "timeout": "The mail server stopped answering.",
    "lost": "The connection to the mail server broke.",
    "garbage": "The mail server answered with something that is not SMTP; check smtp.port and smtp.security.",
}


@dataclass(frozen=True, slots=True)
class SmtpSettings:
    """Where and how mail is handed over.

    `timeout` bounds each step up to the message, in seconds; `timeout_after_dot` is how long the server may
    take to answer for the message, 600 by RFC 5321 4.5.3.2.6: giving up earlier makes doubles (RFC 1047). A
    connection idle for longer than `idle_limit` seconds is not trusted again. `hello_name` defaults to an
    address literal, which tells no machine name. Raises Misconfigured for a password sent unprotected.
    """

    host: str
    port: int
    security: Security = "starttls"
    username: str = ""
    password: str = field(default="", repr=False)
    ca_file: Path | None = None
    timeout: float = 30.0
    timeout_after_dot: float = 600.0
    idle_limit: float = 30.0
    hello_name: str = "[127.0.0.1]"

    def __post_init__(self) -> None:
        if self.security not in ("starttls", "tls", "none"):
            raise Misconfigured("smtp.security is unknown", "Use starttls, tls or none.", field="smtp.security")
        if self.username and self.security == "none":
            raise Misconfigured(
                "smtp.username is set but smtp.security is none, so the password could be read on the way",
                "Use starttls or tls, or remove the user name.",
                field="smtp.security",
            )

    def doorway(self) -> Doorway:
        """What one line needs to know."""
        return Doorway(
            host=self.host,
            port=self.port,
            security=self.security,
            username=self.username,
            password=self.password,
            hello_name=self.hello_name,
            timeout=self.timeout,
            timeout_after_dot=self.timeout_after_dot,
        )


@dataclass(slots=True, eq=False)
class _Seat:
    """One thread's place: its line, if any, and when that was last used."""

    thread: threading.Thread
    lock: threading.Lock
    line: Line | None = None
    used_at: float = 0.0


class SmtpChannel:
    """Sends through one server; safe to use from any number of threads, each with its own connection."""

    def __init__(self, settings: SmtpSettings, *, clock: Clock = time.monotonic) -> None:
        """Opens nothing: the first message does. `clock` counts seconds and never goes back."""
        self._settings = settings
        self._door = settings.doorway()
        self._clock = clock
        self._own = threading.local()
        self._seats: list[_Seat] = []
        self._lock = threading.Lock()
        self._context: ssl.SSLContext | None = None

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send. Waits `timeout` for each step at most, `timeout_after_dot` for the last."""
        refused = refusal(outgoing)
        if refused is not None:
            return refused
        seat = self._seat()
        with seat.lock:
            try:
                return self._offer(seat, outgoing)
            except Stopped as stop:
                return _receipt(stop, outgoing.to)

    def close(self) -> None:
        """Take leave of the server on every connection; a thread in mid-message may finish its step first."""
        with self._lock:
            seats, self._seats = self._seats, []
            self._own = threading.local()
        for seat in seats:
            _leave(seat, patience=min(self._settings.timeout, CLOSING_PATIENCE))

    def _offer(self, seat: _Seat, outgoing: Outgoing) -> Receipt:
        line = self._standing(seat)
        if line is not None:
            try:
                return self._deliver(seat, line, outgoing)
            except Stopped as stop:
                # The server may have hung up while we were idle; nothing was offered yet.
                if stop.phase != "mail" or (stop.why == "reply" and stop.code != 421):
                    raise
        seat.line = self._open()
        return self._deliver(seat, seat.line, outgoing)

    def _deliver(self, seat: _Seat, line: Line, outgoing: Outgoing) -> Receipt:
        try:
            code, text = line.deliver(sender=outgoing.sender, to=outgoing.to, payload=outgoing.payload)
        finally:
            seat.used_at = self._clock()
            if not line.is_open():
                seat.line = None
        return Receipt(Verdict.ACCEPTED, str(code), clean(text, to=outgoing.to))

    def _standing(self, seat: _Seat) -> Line | None:
        """The thread's line if it can still be trusted; otherwise it is let go."""
        line, seat.line = seat.line, None
        if line is None:
            return None
        if self._clock() - seat.used_at <= self._settings.idle_limit and line.is_quiet():
            seat.line = line
            return line
        line.cut()
        return None

    def _open(self) -> Line:
        context = None if self._settings.security == "none" else self._tls()
        return Line(self._door, context, self._clock)

    def _tls(self) -> ssl.SSLContext:
        """The checked kind of TLS: certificate and host name verified, version 1.2 or newer."""
        with self._lock:
            if self._context is None:
                try:
                    context = ssl.create_default_context(cafile=self._settings.ca_file)
                except OSError:  # ssl.SSLError is one: unreadable, or no certificate in it
                    raise Stopped("ca", "file") from None
                context.minimum_version = ssl.TLSVersion.TLSv1_2
                self._context = context
            return self._context

    def _seat(self) -> _Seat:
        seat: _Seat | None = getattr(self._own, "seat", None)
        if seat is not None:
            return seat
        seat = _Seat(threading.current_thread(), threading.Lock())
        with self._lock:
            gone = [other for other in self._seats if not other.thread.is_alive()]
            self._seats = [other for other in self._seats if other.thread.is_alive()] + [seat]
            self._own.seat = seat
        for other in gone:
            _leave(other, patience=0)
        return seat


def _leave(seat: _Seat, *, patience: float) -> None:
    held = seat.lock.acquire(timeout=patience) if patience else seat.lock.acquire(blocking=False)
    try:
        line, seat.line = seat.line, None
        if line is not None and held:
            line.quit()
        elif line is not None:
            line.cut()
    finally:
        if held:
            seat.lock.release()


def _receipt(stop: Stopped, to: str) -> Receipt:
    """What an early end means: RFC 5321 4.2.1 for the digits, RFC 1047 for silence after the final dot."""
    code = f"{stop.phase}-{stop.code if stop.why == 'reply' else stop.why}"
    text = " ".join(filter(None, (clean(stop.text, to=to), _advice(stop, code))))
    if stop.phase == "dot" and stop.why != "reply":
        return Receipt(Verdict.UNKNOWN, code, f"{text} The message was handed over by then and may arrive.")
    about_us = stop.phase not in ABOUT_THE_MESSAGE or stop.code in ACCOUNT_CODES
    if stop.why == "reply" and stop.code >= 500 and not about_us:
        return Receipt(Verdict.NEVER, code, text)
    return Receipt(Verdict.TRY_LATER, code, text)


def _advice(stop: Stopped, code: str) -> str:
    return ADVICE.get(code) or ADVICE.get(stop.phase) or ADVICE.get(stop.why, "")

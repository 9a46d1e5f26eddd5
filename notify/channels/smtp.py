"""A channel that hands messages to the shop's own mail server, over standing connections."""

from __future__ import annotations

import ssl
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from notify.channels.base import Outgoing, Receipt, Verdict, clean, refusal
from notify.channels.smtp_line import Doorway, Fault, Line, Security, Stopped
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
    address literal, which tells no machine name. `connections` is how many the server may be bothered with at
    once. Raises Misconfigured for a password sent unprotected.
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
    connections: int = 4

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


class SmtpChannel:
    """Sends through one server; safe to use from any number of threads, a connection for each that sends just now.

    A connection rests between two messages. The one used last is taken first, so that a single sender keeps to one.
    """

    def __init__(
        self, settings: SmtpSettings, *, clock: Clock = time.monotonic, fault: Fault = lambda point: None
    ) -> None:
        """Opens nothing: the first message does. `clock` counts seconds and never goes back; `fault` is for tests."""
        self._settings = settings
        self._fault = fault
        self._door = settings.doorway()
        self._clock = clock
        self._rested: list[tuple[Line, float]] = []  # with the time since when; the one used last at the end
        self._busy: set[Line] = set()
        self._changed = threading.Condition()
        self._context: ssl.SSLContext | None = None
        self._context_lock = threading.Lock()

    @property
    def lines(self) -> int:
        """How many messages it should be given at once."""
        return self._settings.connections

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send. Waits `timeout` for each step at most, `timeout_after_dot` for the last."""
        refused = refusal(outgoing)
        if refused is not None:
            return refused
        try:
            return self._offer(outgoing)
        except Stopped as stop:
            return _receipt(stop, outgoing.to)

    def close(self) -> None:
        """Take leave of the server on every connection; a thread in mid-message may finish its step first."""
        with self._changed:
            self._changed.wait_for(lambda: not self._busy, timeout=min(self._settings.timeout, CLOSING_PATIENCE))
            rested, self._rested = self._rested, []
            stuck = list(self._busy)
        for line, _ in rested:
            line.quit()
        for line in stuck:
            line.cut()

    def _offer(self, outgoing: Outgoing) -> Receipt:
        line = self._take()
        if line is not None:
            try:
                return self._deliver(line, outgoing)
            except Stopped as stop:
                # The server may have hung up while we were idle; nothing was offered yet.
                if stop.phase != "mail" or (stop.why == "reply" and stop.code != 421):
                    raise
        return self._deliver(self._open(), outgoing)

    def _deliver(self, line: Line, outgoing: Outgoing) -> Receipt:
        try:
            code, text = line.deliver(sender=outgoing.sender, to=outgoing.to, payload=outgoing.payload)
        finally:
            self._give_back(line)
        return Receipt(Verdict.ACCEPTED, str(code), clean(text, to=outgoing.to))

    def _take(self) -> Line | None:
        """A rested line that can still be trusted; those that cannot are let go."""
        while True:
            with self._changed:
                if not self._rested:
                    return None
                line, since = self._rested.pop()
                self._busy.add(line)
            if self._clock() - since <= self._settings.idle_limit and line.is_quiet():
                return line
            line.cut()
            self._give_back(line)

    def _give_back(self, line: Line) -> None:
        """Lets the line rest, unless it is given up; lets those go that rested for too long."""
        now = self._clock()
        with self._changed:
            self._busy.discard(line)
            if line.is_open():
                self._rested.append((line, now))
            worn = []
            while self._rested and now - self._rested[0][1] > self._settings.idle_limit:
                worn.append(self._rested.pop(0)[0])
            self._changed.notify_all()
        for old in worn:
            old.cut()

    def _open(self) -> Line:
        context = None if self._settings.security == "none" else self._tls()
        line = Line(self._door, context, self._clock, self._fault)
        self._fault("after_connect")
        with self._changed:
            self._busy.add(line)
        return line

    def _tls(self) -> ssl.SSLContext:
        """The checked kind of TLS: certificate and host name verified, version 1.2 or newer."""
        with self._context_lock:
            if self._context is None:
                try:
                    context = ssl.create_default_context(cafile=self._settings.ca_file)
                except OSError:  # ssl.SSLError is one: unreadable, or no certificate in it
                    raise Stopped("ca", "file") from None
                context.minimum_version = ssl.TLSVersion.TLSv1_2
                self._context = context
            return self._context


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

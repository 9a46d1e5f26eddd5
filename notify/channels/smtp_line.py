"""One SMTP conversation: open, protect, sign in, deliver; every failure is told with its phase."""

from __future__ import annotations

import base64
import smtplib
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from notify.channels.base import NOBODY
from notify.channels.smtp_wire import Broken, Clock, TlsWire, Wire

Security = Literal["starttls", "tls", "none"]
Fault = Callable[[str], None]  # is told of named crash points; tests end the process in it


@dataclass(frozen=True, slots=True, repr=False)
class Doorway:
    """How to get a line: where, how protected, as whom, and how long to wait for each step (seconds)."""

    host: str
    port: int
    security: Security
    username: str
    password: str
    hello_name: str
    timeout: float
    timeout_after_dot: float


class Stopped(Exception):
    """The conversation ended early in `phase`; `why` is "reply" with its `code`, or one word for it."""

    def __init__(self, phase: str, why: str, code: int = 0, text: str = "") -> None:
        super().__init__(phase, why, code)
        self.phase, self.why, self.code, self.text = phase, why, code, text


class Line:
    """An open, greeted, protected and signed-in connection that carries one message after the other."""

    def __init__(self, door: Doorway, context: ssl.SSLContext | None, clock: Clock, fault: Fault) -> None:
        """Come to the point where a message may start. Raises Stopped; then nothing stays open."""
        self._door = door
        self._fault = fault
        self._phase = "connect"
        self._wire = self._connect(context, clock)
        try:
            self._greet()
            if door.security == "starttls":
                self._protect(context)
            if door.username:
                self._sign_in()
        except BaseException:
            self._wire.close()
            raise

    def is_quiet(self) -> bool:
        """True when the next message may start on this line."""
        return self._wire.is_quiet()

    def is_open(self) -> bool:
        """False once the line is given up."""
        return self._wire.sock is not None

    def deliver(self, *, sender: str, to: str, payload: bytes) -> tuple[int, str]:
        """Offer one message; returns the good answer to the final dot as code and text. Raises Stopped."""
        try:
            return self._transaction(sender, to, payload)
        except Stopped as stop:
            if stop.why != "reply" or stop.code == 421 or not self._reset(stop.phase):
                self._wire.close()
            raise
        except BaseException:
            self._wire.close()
            raise

    def quit(self) -> None:
        """Take leave, whatever the server thinks of it, within 2 seconds."""
        self._wire.patience = min(self._door.timeout, 2.0)
        try:
            self._wire.quit()
        except (OSError, smtplib.SMTPException):
            pass
        finally:
            self._wire.close()

    def cut(self) -> None:
        """Let the line go without a word; another thread may be waiting on it."""
        self._wire.cut()

    def _connect(self, context: ssl.SSLContext | None, clock: Clock) -> Wire:
        door = self._door
        try:
            if door.security == "tls":
                return TlsWire(
                    door.host,
                    door.port,
                    name=door.hello_name,
                    patience=door.timeout,
                    clock=clock,
                    context=context,
                )
            return Wire(door.host, door.port, name=door.hello_name, patience=door.timeout, clock=clock)
        except (OSError, ValueError) as error:
            raise self._stop(error) from None

    def _greet(self) -> None:
        self._ask("ehlo", 250, self._wire.ehlo)

    def _protect(self, context: ssl.SSLContext | None) -> None:
        if not self._wire.has_extn("starttls"):
            raise Stopped("starttls", "missing")
        self._ask("starttls", 220, lambda: self._wire.starttls(context=context))
        if self._wire.unread:  # spoken before the encryption began: somebody in between (RFC 3207 6)
            raise Stopped("starttls", "garbage")
        self._greet()

    def _sign_in(self) -> None:
        """PLAIN (RFC 4616, UTF-8) or LOGIN, once: trying the same password again locks accounts."""
        name, word = self._door.username, self._door.password
        offered = self._wire.esmtp_features.get("auth", "").upper().split()
        if "PLAIN" in offered:
            self._ask("auth", 235, lambda: self._wire.docmd("AUTH", "PLAIN " + _b64(f"\0{name}\0{word}")))
        elif "LOGIN" in offered:
            self._ask("auth", 334, lambda: self._wire.docmd("AUTH", "LOGIN"))
            self._ask("auth", 334, lambda: self._wire.docmd(_b64(name)))
            self._ask("auth", 235, lambda: self._wire.docmd(_b64(word)))
        else:
            raise Stopped("auth", "missing")

    def _transaction(self, sender: str, to: str, payload: bytes) -> tuple[int, str]:
        size = f" SIZE={len(payload)}" if self._wire.has_extn("size") else ""
        path = sender if sender == NOBODY else f"<{sender}>"
        mail, rcpt = f"MAIL FROM:{path}{size}", f"RCPT TO:<{to}>"
        if self._wire.has_extn("pipelining"):
            self._ask_together(mail, rcpt)
        else:
            self._ask("mail", 250, lambda: self._wire.docmd(mail))
            self._ask("rcpt", 250, lambda: self._wire.docmd(rcpt))
            self._ask("data", 354, lambda: self._wire.docmd("DATA"))
        self._phase = "body"
        try:
            self._wire.send(_with_dots(payload))
        except (OSError, ValueError) as error:
            raise self._stop(error) from None
        self._fault("after_data")
        self._wire.patience = self._door.timeout_after_dot
        try:
            answer = self._ask("dot", 250, self._wire.getreply)
        finally:
            self._wire.patience = self._door.timeout
        self._fault("after_250")
        return answer

    def _ask_together(self, mail: str, rcpt: str) -> None:
        """Both commands and DATA in one go, then each answer (RFC 2920 3.1): one way there and back instead of three.

        The first refusal counts. A server that wants the text in spite of it loses the line: a text cut off by the
        end of the connection is none (RFC 5321 4.1.1.4), while an empty one might be delivered.
        """
        self._phase = "mail"
        try:
            self._wire.send(f"{mail}\r\n{rcpt}\r\nDATA\r\n")
        except (OSError, ValueError) as error:
            raise self._stop(error) from None
        refused: Stopped | None = None
        for phase, wanted in (("mail", 250), ("rcpt", 250), ("data", 354)):
            try:
                self._ask(phase, wanted, self._wire.getreply)
            except Stopped as stop:
                refused = refused or stop
                if stop.why != "reply" or stop.code == 421:
                    break
            else:
                if refused and phase == "data":
                    self._wire.close()
        if refused:
            raise refused

    def _reset(self, phase: str) -> bool:
        """Bring the line back to where a message may start; False when it cannot be trusted any more."""
        if phase == "dot":
            return True  # RFC 5321 4.1.1.4: the server has cleared its buffers with its answer
        try:
            return self._wire.rset()[0] == 250
        except (OSError, smtplib.SMTPException):
            return False

    def _ask(self, phase: str, wanted: int, step: Callable[[], tuple[int, bytes]]) -> tuple[int, str]:
        """Do one step; the first digit decides (RFC 5321 4.2.1), and an answer of no use is garbage."""
        self._phase = phase
        try:
            code, raw = step()
        except (OSError, ValueError) as error:  # what smtplib and ssl raise are kinds of OSError
            raise self._stop(error) from None
        # What a server says about signing in may echo what it was sent.
        text = "" if phase == "auth" else raw.decode("ascii", "replace")
        if code // 100 in (4, 5):
            raise Stopped(phase, "reply", code, text)
        if code // 100 != wanted // 100 or (wanted // 100 == 3 and code != wanted):
            raise Stopped(phase, "garbage")
        return code, text

    def _stop(self, error: OSError | ValueError) -> Stopped:
        """Whatever smtplib, ssl or the socket raised, with the phase it happened in."""
        heard = "banner" if self._phase == "connect" else self._phase
        match error:
            case Broken():
                return Stopped(heard, str(error))
            case smtplib.SMTPResponseException():
                return _stopped_by(heard, error)
            case ssl.SSLCertVerificationError():
                return Stopped("tls", "certificate", text=error.verify_message)
            case ssl.SSLError():
                return Stopped("tls", "handshake")
            case smtplib.SMTPException():
                return Stopped(heard, "garbage")
        return Stopped(self._phase, _word(error))


def _stopped_by(phase: str, answer: smtplib.SMTPResponseException) -> Stopped:
    if answer.smtp_code // 100 not in (4, 5):
        return Stopped(phase, "garbage")
    raw = answer.smtp_error
    text = raw.decode("ascii", "replace") if isinstance(raw, bytes) else raw
    return Stopped(phase, "reply", answer.smtp_code, text)


def _word(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "timeout"
    if isinstance(error, ConnectionRefusedError):
        return "refused"
    # socket.gaierror, and UnicodeError for a host name that cannot be one
    return "name" if type(error).__name__ == "gaierror" or isinstance(error, ValueError) else "lost"


def _b64(text: str) -> str:
    return base64.b64encode(text.encode()).decode()


def _with_dots(payload: bytes) -> bytes:
    """The payload made transparent and ended (RFC 5321 4.5.2); every line of it ends in CRLF already."""
    doubled = payload.replace(b"\r\n.", b"\r\n..")
    return (b"." if payload.startswith(b".") else b"") + doubled + b".\r\n"

"""The line to an IMAP server: sign-in over TLS, answers of bounded length, and every failure as one of our errors."""

from __future__ import annotations

import imaplib
import ipaddress
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from imap_tools import BaseMailBox
from imap_tools.errors import MailboxFolderSelectError, MailboxLoginError

from notify.core.errors import Conflict, Misconfigured, NotifyError

TALK = 4 * 1024 * 1024  # octets that one command may be answered with, beside a letter
Security = Literal["tls", "starttls", "none"]


@dataclass(frozen=True, slots=True)
class ImapPlace:
    """Where the mailbox is and how to sign in. Raises Misconfigured for a password sent unprotected over a network."""

    host: str
    port: int
    username: str
    password: str = field(repr=False)
    security: Security = "tls"
    ca_file: Path | None = None
    folder: str = "INBOX"
    timeout: float = 30.0  # seconds without a single octet

    def __post_init__(self) -> None:
        if self.security not in ("tls", "starttls", "none"):
            raise Misconfigured("inbox.security is unknown", "Use tls, starttls or none.", field="inbox.security")
        if self.security == "none" and not _is_loopback(self.host):
            raise Misconfigured(
                "inbox.security is none, so password and letters could be read on the way",
                "Use tls or starttls; none is for a mailbox on this machine.",
                field="inbox.security",
            )


def connect(place: ImapPlace) -> BaseMailBox:
    """Signed in, with the folder open. Raises Misconfigured when something is refused, Conflict when nobody answers."""
    with translated():
        box = _Box(place)
    try:
        with translated():
            box.login(place.username, place.password, None)
            box.folder.set(place.folder)
        return box
    except BaseException:
        with suppress(Exception):
            box.client.shutdown()
        raise


class _Allowed(imaplib.IMAP4):
    """The standard client, which would take as many octets as a server cares to send."""

    allowance = TALK

    def read(self, size: int) -> bytes:
        self._spend(size)
        return super().read(size)

    def readline(self) -> bytes:
        line = super().readline()
        self._spend(len(line))
        return line

    def _spend(self, size: int) -> None:
        self.allowance -= size
        if self.allowance < 0:
            raise self.abort("too much")


class _AllowedTls(_Allowed, imaplib.IMAP4_SSL):
    """The same over TLS from the first octet."""


class _Box(BaseMailBox):
    """imap-tools' mailbox over our client."""

    def __init__(self, place: ImapPlace) -> None:
        self._place = place
        super().__init__()

    def _get_mailbox_client(self) -> imaplib.IMAP4:
        place = self._place
        if place.security == "tls":
            return _AllowedTls(place.host, place.port, ssl_context=_trusting(place), timeout=place.timeout)
        client = _Allowed(place.host, place.port, timeout=place.timeout)
        if place.security == "starttls":
            try:
                client.starttls(_trusting(place))
            except BaseException:
                client.shutdown()
                raise
        return client


def _trusting(place: ImapPlace) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=str(place.ca_file) if place.ca_file else None)
    except (OSError, ValueError):
        raise Misconfigured(
            "The file named in inbox.ca_file cannot be read as certificates",
            "Name a PEM file, or leave it out.",
            field="inbox.ca_file",
        ) from None


@contextmanager
def translated() -> Iterator[None]:
    """What goes wrong inside comes out as one of our errors, without an address or what the server said."""
    try:
        yield
    except NotifyError:
        raise
    except ssl.SSLCertVerificationError:
        raise Misconfigured(
            "The mailbox's certificate does not fit its name, or nobody we trust vouches for it",
            "Check inbox.host and inbox.ca_file.",
            field="inbox.host",
        ) from None
    except MailboxLoginError:
        raise Misconfigured(
            "The mailbox refuses the sign-in", "Check inbox.username and inbox.password_file.", field="inbox.username"
        ) from None
    except MailboxFolderSelectError:
        raise Misconfigured("The mailbox has no such folder", "Check inbox.folder.", field="inbox.folder") from None
    except Exception:  # imaplib raises whatever its parsing stumbles over
        raise no_answer() from None


def no_answer() -> Conflict:
    """Nobody there, or something else than IMAP, or too much of it."""
    return Conflict(
        "The mailbox does not answer, or not in IMAP",
        "It is asked again next time; if that goes on, check inbox.host, inbox.port and inbox.security.",
    )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"

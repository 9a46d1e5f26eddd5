"""A real SMTP server in a thread: TLS, AUTH, a verdict per recipient, and the ways in which servers fail."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pytest
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from tests.parts.certificates import Certificates

Security = Literal["none", "starttls", "tls"]


@dataclass(frozen=True, slots=True)
class Received:
    """One message as it came over the wire, the envelope apart from the bytes."""

    sender: str
    recipients: tuple[str, ...]
    content: bytes
    encrypted: bool
    login: str


@dataclass  # without slots: aiosmtpd walks through all attributes, and Python 3.11.2 fails on those of a slotted one
class SmtpServer:
    """What a test sets before sending and reads afterwards. Start it with the `start_smtp` fixture.

    `refusals` maps a recipient to the answer it gets at RCPT ("550 5.1.1 unknown").
    `data_answers` are given to the next messages after their final dot, one each; then all are accepted.
    `drop_after_data` counts messages that are kept and then answered by a closed connection.
    `stop()` takes the server down for good and cuts every open connection.
    """

    security: Security = "starttls"
    users: dict[str, str] = field(default_factory=dict)
    host: str = "localhost"
    port: int = 0
    ca_file: Path | None = None
    messages: list[Received] = field(default_factory=list)
    refusals: dict[str, str] = field(default_factory=dict)
    data_answers: list[str] = field(default_factory=list)
    drop_after_data: int = 0
    connections: int = 0
    stop: Callable[[], None] = lambda: None

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ) -> list[str]:
        """Remember who speaks; the library has already gathered what we offer."""
        session.host_name = hostname
        return responses

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """Each recipient gets its own verdict."""
        if address in self.refusals:
            return self.refusals[address]
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 will do"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """Keep the message, unless an answer was set that refuses it."""
        answer = self.data_answers.pop(0) if self.data_answers else "250 2.0.0 kept"
        if answer.startswith("2"):
            encrypted = self.security == "tls" or session.ssl is not None
            self.messages.append(_received(session, envelope, encrypted=encrypted))
        if self.drop_after_data > 0:
            self.drop_after_data -= 1
            _cut(server)
        return answer

    def authenticate(self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
        """`handled=False` makes the library send 535; with True it would send nothing and let it hang."""
        if not isinstance(data, LoginPassword):
            return AuthResult(success=False, handled=False)
        name, password = data.login.decode(), data.password.decode()
        known = bool(self.users) and self.users.get(name) == password
        return AuthResult(success=known, handled=False, auth_data=name if known else None)


def _received(session: Session, envelope: Envelope, *, encrypted: bool) -> Received:
    content = envelope.original_content or b""
    login = session.auth_data or ""
    return Received(envelope.mail_from or "", tuple(envelope.rcpt_tos), content, encrypted, login)


def _cut(server: SMTP) -> None:
    if isinstance(server.transport, asyncio.WriteTransport):
        server.transport.abort()


class _Running:
    """The server's own event loop in its own thread; port 0 lets the system choose, so nothing can race."""

    def __init__(self, told: SmtpServer, certificates: Certificates) -> None:
        self._told = told
        self._certificates = certificates
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="smtp-for-tests", daemon=True)
        self._server: asyncio.Server | None = None

    def start(self) -> None:
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self._listen(), self._loop).result(timeout=10)

    def stop(self) -> None:
        """Cut every connection that is still open and end the thread."""
        if self._loop.is_closed():
            return
        asyncio.run_coroutine_threadsafe(self._close(), self._loop).result(timeout=10)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(timeout=10)
        self._loop.close()

    async def _listen(self) -> None:
        implicit = self._certificates.server_context() if self._told.security == "tls" else None
        self._server = await self._loop.create_server(self._session, "127.0.0.1", 0, ssl=implicit)
        self._told.port = self._server.sockets[0].getsockname()[1]

    def _session(self) -> SMTP:
        self._told.connections += 1
        starttls = self._certificates.server_context() if self._told.security == "starttls" else None
        return SMTP(
            self._told,
            hostname="mail.example.test",
            loop=self._loop,
            tls_context=starttls,
            require_starttls=starttls is not None,
            authenticator=self._told.authenticate,
            auth_required=bool(self._told.users),
            auth_require_tls=self._told.security == "starttls",
        )

    async def _close(self) -> None:
        assert self._server is not None
        self._server.close()
        ours = asyncio.current_task()
        pending = [task for task in asyncio.all_tasks() if task is not ours]
        for task in pending:
            task.cancel()
        await asyncio.gather(*pending, return_exceptions=True)
        await asyncio.sleep(0)


@pytest.fixture
def start_smtp(certificates: Certificates) -> Iterator[Callable[..., SmtpServer]]:
    """Starts servers: `start_smtp(security="tls", users={"shop": "pass-1"}, certificates=…)`.

    The certificate is issued by a throw-away authority whose file is `server.ca_file`.
    """
    running: list[_Running] = []

    def start(
        *,
        security: Security = "starttls",
        users: dict[str, str] | None = None,
        certificates: Certificates = certificates,
    ) -> SmtpServer:
        told = SmtpServer(security=security, users=users or {}, ca_file=certificates.ca_file)
        running.append(_Running(told, certificates))
        running[-1].start()
        told.stop = running[-1].stop
        return told

    yield start
    for one in running:
        one.stop()


@pytest.fixture
def smtp_server(start_smtp: Callable[..., SmtpServer]) -> SmtpServer:
    """The usual provider: STARTTLS, and the login `shop` with the password `bell-and-shelf`."""
    return start_smtp(users={"shop": "bell-and-shelf"})

"""Fixtures of the channels: scripted servers, and channels that are closed again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from notify.channels.base import Outgoing
from notify.channels.smtp import SmtpChannel, SmtpSettings
from tests.channels.scripted import ScriptedServer

PAYLOAD = (
    b"From: bench@example.org\r\nTo: pat@example.org\r\nMessage-ID: <m1@example.org>\r\nSubject: Ready\r\n\r\n"
    b"Your radio is ready.\r\n.\r\n..two dots\r\nQUIT\r\n"
)


def outgoing(number: int = 1, **changed: Any) -> Outgoing:
    """A message that every channel takes, unless something was changed in it."""
    given: dict[str, Any] = {
        "message_id": f"<m{number}@example.org>",
        "to": "pat@example.org",
        "sender": "bench@example.org",
        "payload": PAYLOAD.replace(b"<m1@", f"<m{number}@".encode()),
    }
    return Outgoing(**{**given, **changed})


@pytest.fixture
def scripted() -> Iterator[Callable[..., ScriptedServer]]:
    """Starts scripted servers: `scripted(fault=Fault("rcpt", drop))`."""
    started: list[ScriptedServer] = []

    def start(**settings: Any) -> ScriptedServer:
        started.append(ScriptedServer(**settings).start())
        return started[-1]

    yield start
    for server in started:
        server.stop()


@pytest.fixture
def channel_to() -> Iterator[Callable[..., SmtpChannel]]:
    """Makes SMTP channels: `channel_to(server.port, security="none", timeout=0.5)`."""
    made: list[SmtpChannel] = []

    def make(port: int, *, clock: Callable[[], float] | None = None, **settings: Any) -> SmtpChannel:
        given = {"host": "localhost", "security": "none", "timeout": 5.0, "timeout_after_dot": 5.0, **settings}
        told = SmtpSettings(port=port, **given)
        made.append(SmtpChannel(told, clock=clock) if clock else SmtpChannel(told))
        return made[-1]

    yield make
    for channel in made:
        channel.close()

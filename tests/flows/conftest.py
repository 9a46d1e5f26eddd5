"""An installation whose two lines out answer as a test says, and short readings of what was told."""

from __future__ import annotations

import email
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from email import policy
from pathlib import Path
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.channels.memory import MemoryChannel
from notify.channels.sms_mailgate import SmsMailgate
from notify.store import messages
from tests.parts.clock import FakeClock
from tests.parts.databases import Backend
from tests.parts.house import House, make_house

GATEWAY = "{digits}@sms.example.org"
DOWN = Receipt(Verdict.TRY_LATER, "connect", "Nobody answers.")
REFUSED = Receipt(Verdict.NEVER, "rcpt-550", "No such address.")


@dataclass
class Line:
    """What the other side answers: `answer` for all, unless it is None."""

    answer: Receipt | Callable[[Outgoing], Receipt] | None = None

    def __call__(self, outgoing: Outgoing) -> Receipt:
        if callable(self.answer):
            return self.answer(outgoing)
        return self.answer or Receipt(Verdict.ACCEPTED, "kept")


@dataclass
class Lines:
    """The house, its mail and text channels, and what their other sides say."""

    house: House
    mail: MemoryChannel
    text: MemoryChannel
    mail_line: Line = field(default_factory=Line)
    text_line: Line = field(default_factory=Line)

    def rows(self, visit_id: str, notice: str = "") -> list[Any]:
        """The outbox rows of a visit in order."""
        with self.house.read() as unit:
            return [m for m in messages.messages_of_visit(unit, visit_id) if not notice or m.notice == notice]

    def states(self, visit_id: str, notice: str) -> list[tuple[str, str, str]]:
        """(channel, state, reason) of each row of a notice."""
        return [(m.channel, str(m.state), m.reason) for m in self.rows(visit_id, notice)]


def words(outgoing: Outgoing) -> str:
    """The text that the reader sees."""
    whole = email.message_from_bytes(outgoing.payload, policy=policy.default)
    body = whole.get_body(("plain",)) or whole
    return str(body.get_content())


@pytest.fixture
def lines(backend: Backend, clock: FakeClock, tmp_path: Path, tzdata_only: None) -> Iterator[Lines]:
    """A wired installation on SQLite and on PostgreSQL in turn, with lines that a test can break."""
    mail_line, text_line = Line(), Line()
    mail, text = MemoryChannel(mail_line), MemoryChannel(text_line)
    ways = {"email": mail, "sms": SmsMailgate(text, GATEWAY)}
    house = make_house(tmp_path, backend.url, clock=clock, channels=ways)
    yield Lines(house, mail, text, mail_line, text_line)
    house.services.close()

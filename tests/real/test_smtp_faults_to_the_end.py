"""Every way in which a mail server can fail, through the whole dispatcher, until the outbox says how it ended."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from email import message_from_bytes
from pathlib import Path
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.channels.memory import MemoryChannel
from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.flows.view_messages import view_one
from notify.store import messages
from notify.store.messages import Message
from tests.channels.scripted import STEPS, Fault, ScriptedServer, drop
from tests.channels.test_smtp_faults import FAULTS, PATIENCE, expected
from tests.parts.certificates import Certificates
from tests.parts.clock import FakeClock
from tests.parts.databases import Backend
from tests.parts.house import House, make_house

pytestmark = pytest.mark.real
FAULTY = 2  # so often the server fails before it is well


@dataclass
class Plug:
    """A channel whose far end the test changes; it counts what was offered and remembers the answers."""

    inner: Any = None
    offered: list[Outgoing] = field(default_factory=list)
    receipts: list[Receipt] = field(default_factory=list)

    def send(self, outgoing: Outgoing, /) -> Receipt:
        self.offered.append(outgoing)
        self.receipts.append(self.inner.send(outgoing))
        return self.receipts[-1]


@dataclass
class Stage:
    """A house that mails through the plug, on a clock of its own."""

    house: House
    plug: Plug
    certificates: Certificates
    server: ScriptedServer | None = None
    told: int = 0

    def connect(self, step: str, act: Callable[..., None], *, times: int, keep: bool = False) -> ScriptedServer:
        """A new server that fails at `step`, and a channel to it; TLS and sign-in where the step needs them."""
        self.unplug()
        tls = self.certificates.server_context() if step in ("star", "auth") else None
        offers = {"star": (b"STARTTLS",), "auth": (b"AUTH PLAIN LOGIN",)}.get(step, ())
        self.server = ScriptedServer(
            fault=Fault(step, act, times), context=tls, starttls=step == "star", offers=offers, keep_before_fault=keep
        ).start()
        more: dict[str, Any] = {"security": {"star": "starttls", "auth": "tls"}.get(step, "none")}
        if tls is not None:
            more["ca_file"] = self.certificates.ca_file
        if step == "auth":
            more |= {"username": "shop", "password": "geheim-ß"}
        told = SmtpSettings("localhost", self.server.port, timeout=PATIENCE, timeout_after_dot=PATIENCE, **more)
        self.plug.inner = SmtpChannel(told)
        self.plug.offered.clear()
        self.plug.receipts.clear()
        return self.server

    def unplug(self) -> None:
        if self.server is not None:
            self.plug.inner.close()
            self.server.stop()

    def tell(self) -> str:
        """Takes a device in, some morning, for somebody else who has e-mail only; the message's identifier."""
        self.house.clock.set(self.house.clock().replace(hour=10, minute=0) + timedelta(days=1))
        self.told += 1  # an address that was refused for good is not used again, so each has its own
        visit = self.house.check_in(phone="", email=f"ines{self.told}@example.org").visit_id
        with self.house.read() as unit:
            return messages.messages_of_visit(unit, visit)[0].id

    def message(self, row_id: str) -> Message:
        with self.house.read() as unit:
            found = messages.get_message(unit, row_id)
        assert found is not None
        return found

    def live(self, row_id: str) -> Message:
        """Goes from one due time to the next until the message has come to an end."""
        for _ in range(200):
            message = self.message(row_id)
            if message.state != "waiting":
                return message
            self.house.clock.set(max(self.house.clock(), message.due_at))
            self.house.services.dispatcher.run_once(self.house.shop_id)
        raise AssertionError("the message never came to an end")


@pytest.fixture
def stage(
    backend: Backend, clock: FakeClock, certificates: Certificates, tmp_path: Path, tzdata_only: None
) -> Iterator[Stage]:
    plug = Plug()
    house = make_house(tmp_path, backend.url, clock=clock, channels={"email": plug, "sms": MemoryChannel()})
    made = Stage(house, plug, certificates)
    yield made
    made.unplug()
    house.services.close()


def ends_as(step: str, fault: str) -> str:
    """RFC 5321 4.2.1: a 5xx about the message is the end; whatever else goes again and arrives."""
    return "given_up" if expected(step, fault) is Verdict.NEVER else "sent"


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
def test_each_fault_at_each_step_ends_in_the_state_that_is_true(stage: Stage) -> None:
    tally, wrong, began = Counter[str](), [], time.monotonic()
    for step in STEPS:
        for name, act in FAULTS.items():
            server = stage.connect(step, act, times=FAULTY)
            end = stage.live(stage.tell())
            stage.plug.inner.close()
            tally["cells"] += 1
            tally["shown"] += server.faults_shown > 0
            if end.state != ends_as(step, name):
                wrong.append(f"{step}/{name}: {end.state} {end.reason}")
            tally["lost"] += end.state == "sent" and stage.plug.offered[-1].payload not in server.kept
            tally["retried"] += end.state == "given_up" and len(stage.plug.offered) > 1
            tally["gave_up"] += end.state == "given_up" and end.reason == "no_use_any_more"
            tally["other_bytes"] += len({one.payload for one in stage.plug.offered}) - 1
    print(
        f"FIGURE A4_matrix cells={tally['cells']} faults_shown={tally['shown']} lost={tally['lost']} "
        f"wrong_final_state={len(wrong)} retried_5xx={tally['retried']} "
        f"gave_up_4xx_before_deadline={tally['gave_up']} other_bytes={tally['other_bytes']} "
        f"seconds={time.monotonic() - began:.1f}"
    )
    assert wrong == []
    assert tally["shown"] == tally["cells"] >= 60
    assert tally["lost"] == tally["retried"] == tally["gave_up"] == tally["other_bytes"] == 0


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
def test_a_server_that_says_later_for_ever_is_asked_until_the_message_is_of_no_use(stage: Stage) -> None:
    early = asked = 0
    for step in [step for step in STEPS if step != "quit"]:
        server = stage.connect(step, FAULTS["4xx"], times=10_000)
        end = stage.live(stage.tell())
        assert (end.state, end.reason) == ("given_up", "no_use_any_more") and server.kept == []
        early += stage.house.clock() < end.expires_at - timedelta(minutes=10)
        asked += len(stage.plug.offered)
    print(f"FIGURE A4_later_for_ever steps={len(STEPS) - 1} tries={asked} gave_up_4xx_before_deadline={early}")
    assert early == 0 and asked > 8 * 10


def test_a_lost_250_is_counted_and_the_same_bytes_go_again(stage: Stage) -> None:
    tally = Counter[str]()
    for _ in range(50):
        server = stage.connect("dot", drop, times=1, keep=True)
        end = stage.live(stage.tell())
        tally["sent"] += end.state == "sent"
        tally["ambiguous"] += end.ambiguous
        tally["shown"] += view_one(stage.house.ctx, stage.house.actor(), end.id).line.perhaps_twice
        first, second = server.kept
        tally["same_bytes"] += first == second
        ids = {str(message_from_bytes(one)["Message-ID"]) for one in (first, second)}
        tally["same_id"] += ids == {end.message_id}
    print(f"FIGURE A5_ambiguous database={stage.house.ctx.db.engine.dialect.name} ambiguous={tally['ambiguous']} "
          f"same_message_id={tally['same_id']} same_bytes={tally['same_bytes']} "
          f"shown_to_staff={tally['shown']}")  # fmt: skip
    assert tally == {"sent": 50, "ambiguous": 50, "shown": 50, "same_bytes": 50, "same_id": 50}

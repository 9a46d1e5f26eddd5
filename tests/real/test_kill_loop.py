"""kill -9 at random moments, against a mail server that fails now and then: nothing acknowledged is ever lost."""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from email import message_from_bytes
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from notify.flows import check_in, moves
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import messages
from notify.wiring import Services, system_clock
from tests.parts.installation import NEVER_QUIET, Installation, Serving, make_installation, owner_of
from tests.parts.smtp_server import SmtpServer

pytestmark = pytest.mark.real
CYCLES = {"quick": 20, "deep": 500}
Ack = tuple[str, str]  # visit, notice that it causes
Kill = tuple[float, float]  # when the signal was sent, and when the next process began


class Inbox(list[Any]):
    """The sink's list of messages with the time of each, and which were answered by a cut connection."""

    def __init__(self, server: SmtpServer) -> None:
        super().__init__()
        self._server = server
        self.copies: dict[str, list[tuple[float, bool]]] = {}

    def append(self, received: Any) -> None:
        """Called by the server for each message that it keeps."""
        message_id = str(message_from_bytes(received.content)["Message-ID"])
        self.copies.setdefault(message_id, []).append((time.monotonic(), self._server.drop_after_data > 0))
        super().append(received)


@dataclass
class Counter:
    """Somebody at the counter who goes on checking devices in and putting them on the shelf."""

    services: Services
    acknowledged: list[Ack] = field(default_factory=list)
    stopping: threading.Event = field(default_factory=threading.Event)
    failed: list[BaseException] = field(default_factory=list)

    def work(self) -> None:
        """Until told to stop; every call that returned counts as acknowledged."""
        owner, count = owner_of(self.services), 0
        while not self.stopping.wait(0.1):
            count += 1
            try:
                self._one(owner, count)
            except BaseException as error:
                self.failed.append(error)
                return

    def _one(self, owner: Any, count: int) -> None:
        person = PersonForm(name=f"Customer {count}", email=f"customer{count}@example.org")
        form = VisitForm(bringer=person, devices=(DeviceForm("Halyard pocket radio"),))
        done = check_in.check_in(self.services.context, owner, form)
        self.acknowledged.append((done.visit_id, "checked_in"))
        if count % 3 == 0:
            for phase in ("in_line", "on_bench", "on_shelf"):
                moves.move(self.services.context, owner, done.ticket_ids[0], phase)
            self.acknowledged.append((done.visit_id, "ready"))


@pytest.mark.parametrize(
    "cycles", [CYCLES["quick"], pytest.param(CYCLES["deep"], marks=pytest.mark.deep)], ids=["quick", "deep"]
)
def test_kill_9_at_random_moments_loses_nothing_and_explains_each_duplicate(
    cycles: int, tmp_path: Path, start_smtp: Callable[..., SmtpServer]
) -> None:
    chance, server = random.Random(20261125), start_smtp(security="none")
    inbox = Inbox(server)
    server.messages = inbox
    server.data_answers = [chance.choices(["250 2.0.0 kept", "451 4.3.0 later"], [9, 1])[0] for _ in range(100_000)]
    shop = make_installation(tmp_path, **{
        "mail.transport": "smtp", "mail.host": "127.0.0.1", "mail.port": server.port, "mail.security": "none",
        "bell.wait_seconds": 0, **NEVER_QUIET,
    })  # fmt: skip
    counter = Counter(shop.open())
    at_work = threading.Thread(target=counter.work, name="counter")
    at_work.start()
    try:
        killed, begun, restarts, errors = _kill_again_and_again(shop, server, chance, cycles)
    finally:
        counter.stopping.set()
        at_work.join(30)
    assert not counter.failed, counter.failed
    in_time = len(inbox)
    with Serving(shop):
        begun.append(time.monotonic())
        time.sleep(1.0)  # the next process takes over what the last one had in hand
    _drain(shop)
    kills = list(zip(killed, begun[1:], strict=True))
    _judge(shop, counter.acknowledged, inbox, kills=kills, restarts=restarts, in_time=in_time)
    assert not errors, "\n".join(dict.fromkeys(errors))  # a kill is no excuse for a fault before it


def _kill_again_and_again(
    shop: Installation, server: SmtpServer, chance: random.Random, cycles: int
) -> tuple[list[float], list[float], list[float], list[str]]:
    """When each process was killed, when each had begun, how long each took to be ready, and lines of errors."""
    killed, begun, restarts, errors = [], [], [], []
    for cycle in range(cycles):
        process = Serving(shop)
        begun.append(time.monotonic())
        try:
            restarts.append(process.wait_ready())
            if cycle % 4 == 1:
                server.drop_after_data += 1
            time.sleep(chance.uniform(0.2, 2.5))
        finally:
            killed.append(time.monotonic())
            errors += [line for line in process.kill().splitlines() if " ERROR " in line]
    return killed, begun, restarts, errors


def _drain(shop: Installation) -> None:
    """Hours later: whatever was put off by the server's faults has its next try."""
    later = [timedelta(0)]
    services = shop.open(clock=lambda: system_clock() + later[0])
    for _ in range(40):
        later[0] += timedelta(minutes=45)
        while services.dispatcher.run_once(services.shop_ids()[0]):
            pass


def _judge(
    shop: Installation,
    acknowledged: list[Ack],
    inbox: Inbox,
    *,
    kills: list[Kill],
    restarts: list[float],
    in_time: int,
) -> None:
    services = shop.open()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        rows = messages.list_messages(unit, limit=1_000_000)
    known = {row.message_id: row for row in rows if row.message_id}
    delivered = {(known[i].visit_id, known[i].notice) for i in inbox.copies if i in known}
    # News that newer news of the same visit made needless: told by that one, which must have come.
    overtaken = {(row.visit_id, row.notice) for row in rows if (row.state, row.reason) == ("dropped", "overtaken")}
    told = delivered | {ack for ack in overtaken if (ack[0], "ready") in delivered}
    lost = [ack for ack in acknowledged if ack not in told]
    unexpected = [i for i in inbox.copies if i not in known]
    unexplained = [i for i, copies in inbox.copies.items() if not _explained(copies, kills)]
    duplicates = sum(len(copies) - 1 for copies in inbox.copies.values())
    # Three seconds are meant on a machine that does nothing else; tests share its cores, so it is a figure only.
    crowd = max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
    print(
        f"FIGURE kill_loop cycles={len(kills)} acknowledged={len(acknowledged)} lost={len(lost)} "
        f"overtaken={len(overtaken)} "
        f"unexpected={len(unexpected)} duplicates={duplicates} duplicates_unexplained={len(unexplained)} "
        f"restart_max_s={max(restarts):.2f} delivered_between_kills={in_time} crowd={crowd:.1f}"
    )
    shop.close()
    assert in_time > len(kills), "the loop hardly worked: kills came before anything was sent"
    assert (lost, unexpected, unexplained) == ([], [], [])


def _explained(copies: list[tuple[float, bool]], kills: list[Kill]) -> bool:
    """Every further copy has a reason: the server cut the line after the one before, or a kill came between.

    What a process had written before its end the server may read after it, so the one before counts as that
    process's own until the next process begins.
    """
    return all(
        cut or any(before <= next_begun and killed <= after for killed, next_begun in kills)
        for (before, cut), (after, _) in pairwise(copies)
    )

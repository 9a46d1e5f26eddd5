"""A worker dies at each named point from claiming to settling, before a real SMTP server: none lost, few repeated."""

from __future__ import annotations

import dataclasses
import multiprocessing
import os
import time
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta
from email import message_from_bytes
from typing import Any

import pytest

from notify import wiring
from notify.flows.check_in_form import DeviceForm
from notify.store import messages
from tests.parts.clock import FakeClock
from tests.parts.house import House
from tests.parts.smtp_server import SmtpServer

pytestmark = pytest.mark.real

MESSAGES = 12  # a whole group to be settled, and a small one
# point -> at which of its passings in one life the worker dies, in turn
POINTS: dict[str, tuple[int, ...]] = {
    "before_claim": (1, 2), "after_claim": (1,), "after_connect": (1,),
    "after_data": (1, 6, 10, 12), "after_250": (1, 6, 10, 12), "after_record": (1, 2),
}  # fmt: skip
REPEATING = ("after_data", "after_250")  # the server may have it by then: the group in hand goes again


def work(settings: Any, now: datetime, shop_id: str, crash: tuple[str, int] | None) -> None:
    """One worker's life: until nothing is due, or until it dies as if by kill -9 at a crash point."""
    seen = Counter[str]()

    def fault(point: str) -> None:
        seen[point] += 1
        if crash == (point, seen[point]):
            os._exit(137)

    services = wiring.build(settings, clock=FakeClock(now), fault=fault)
    while services.dispatcher.run_once(shop_id):
        pass
    services.close()


@pytest.mark.parametrize("visits", [3, pytest.param(20, marks=pytest.mark.deep)], ids=["quick", "deep"])
def test_a_worker_that_dies_at_any_crash_point_loses_nothing_and_repeats_one_group_at_most(
    house: House, start_smtp: Callable[..., SmtpServer], visits: int
) -> None:
    server = start_smtp(security="none")
    mail = dataclasses.replace(
        house.services.settings.mail, transport="smtp", host="127.0.0.1", port=server.port, security="none"
    )
    settings = dataclasses.replace(house.services.settings, mail=mail)
    began, tally, most = time.monotonic(), Counter[str](), 0
    for point, passings in POINTS.items():
        for visit in range(visits):
            server.messages.clear()
            _die_and_go_on(house, settings, (point, passings[visit % len(passings)]), tally)
            copies = Counter(str(message_from_bytes(one.content)["Message-ID"]) for one in server.messages)
            repeats = copies.total() - len(copies)
            tally["lost"] += MESSAGES - len(copies)
            tally["other_bytes"] += len({one.content for one in server.messages}) - len(copies)
            tally["unexplained"] += max(0, repeats - (10 if point in REPEATING else 0))
            tally["repeated_at_all"] += repeats > 0
            most = max(most, repeats)
    with house.read() as unit:
        states = Counter(str(m.state) for m in messages.list_messages(unit, limit=100_000))
    print(f"FIGURE A2_crashes database={house.ctx.db.engine.dialect.name} crash_points={len(POINTS)} visits>={visits} "
          f"crashes={tally['crashed']} lost={tally['lost']} most_repeated_by_one_crash_after_DATA={most} "
          f"unexplained={tally['unexplained']} other_bytes={tally['other_bytes']} "
          f"seconds={time.monotonic() - began:.1f}")  # fmt: skip
    assert tally["crashed"] == len(POINTS) * visits
    assert tally["lost"] == tally["unexplained"] == tally["other_bytes"] == 0
    assert tally["repeated_at_all"] and most <= 10 and set(states) == {"sent"}


def _die_and_go_on(house: House, settings: Any, crash: tuple[str, int], tally: Counter[str]) -> None:
    house.clock.set(house.clock().replace(hour=10) + timedelta(days=1))  # never at night, when nothing leaves
    for n in range(MESSAGES):
        house.check_in(DeviceForm(f"radio {n}"), phone="")
    now = house.clock.advance(91)
    house.ctx.db.close()
    house.ctx.db.vault._engine.dispose()
    child = multiprocessing.get_context("fork").Process(target=work, args=(settings, now, house.shop_id, crash))
    child.start()
    child.join(60)
    tally["crashed"] += child.exitcode == 137
    work(settings, house.clock.advance(3600), house.shop_id, None)  # the lease of the dead one has run out

"""A source that tells a great deal at once delays nobody's message: their wait with and without the flood."""

from __future__ import annotations

import statistics
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from notify.core.sources import Change
from notify.schedule.runner import Runner
from tests.parts.clock import FakeClock
from tests.parts.databases import Backend
from tests.parts.house import House, make_house
from tests.parts.taking_source import take_turns

PAUSE = 0.05  # as watch/table.py and watch/folder.py rest between two turns
LONGEST = 30.0  # only ends what hangs


def _waits(house: House, so_many: int) -> list[float]:
    """How long a person at the counter and their customer's message wait together, each time."""
    waits = []
    for n in range(so_many):
        began, before = time.monotonic(), len(house.sent())
        house.check_in(name=f"Person {n}", phone="", email=f"person{n}@example.org")
        while len(house.sent()) == before and time.monotonic() - began < LONGEST:
            time.sleep(0.005)
        waits.append(time.monotonic() - began)
        time.sleep(0.05)
    return waits


class _Flood:
    """The source's batch in a thread of its own, from `start` until it is whole or told to stop."""

    def __init__(self, house: House, rows: int) -> None:
        self._house, self._rows, self.turns, self.stopping = house, rows, 0, threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> _Flood:
        self._thread.start()
        return self

    def __exit__(self, *_: Any) -> None:
        self.stopping.set()
        self._thread.join(LONGEST)

    def goes_on(self) -> bool:
        """Whether it is still at it."""
        return self._thread.is_alive()

    def _run(self) -> None:
        rows = [
            Change(n, {"reference": f"J-{n}", "phase": "on the bench", "device": "Radio"}) for n in range(self._rows)
        ]
        for at in range(0, len(rows), 100):
            if self.stopping.is_set():
                return
            take_turns(self._house.ctx, self._house.shop_id, rows[at : at + 100], size=100, digest="")
            self.turns += 1
            time.sleep(PAUSE)


@pytest.mark.long
@pytest.mark.parametrize(("rows", "samples"), [(1_000, 5), pytest.param(100_000, 200, marks=pytest.mark.deep)])
def test_a_flood_of_changes_delays_no_message_of_others(
    backend: Backend, tmp_path: Path, clock: FakeClock, tzdata_only: None, rows: int, samples: int
) -> None:
    house = make_house(tmp_path, backend.url, clock=clock, bell=0)
    runner = Runner(house.services, by="test", jobs=())
    runner.start()
    try:
        calm = _waits(house, samples)
        with _Flood(house, rows) as flood:
            time.sleep(0.1)
            busy = _waits(house, samples)
            went_on = flood.goes_on()
    finally:
        runner.stop()
        house.services.close()
    print(
        f"FIGURE source_flood database={backend.name} rows={rows} turns={flood.turns} samples={samples} "
        f"calm_p50={statistics.median(calm):.3f} busy_p50={statistics.median(busy):.3f} busy_max={max(busy):.3f}"
    )
    assert went_on and max(busy) < LONGEST

"""How long it takes from a file in a watched folder to the message that it causes, while the service runs."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from notify.cli.watch import watch_jobs
from notify.schedule.runner import Runner
from notify.store import schema as s
from tests.parts.watched_folder import HEADER, Hand

# What is tried here is files; what becomes of them in either database: test_folder.py.
pytestmark = [pytest.mark.real, pytest.mark.parametrize("backend", ["sqlite"], indirect=True)]
MOST_SECONDS = 20.0  # only ends what hangs


def test_a_change_in_a_watched_folder_becomes_a_message_within_a_second(house: Any, tmp_path: Path) -> None:
    hand = Hand(tmp_path / "from-bench")
    numbers = [house.check_in().numbers[0] for _ in range(5)]
    settings = replace(house.services.settings, watch=(hand.watch,))
    runner = Runner(replace(house.services, settings=settings), by="test", jobs=watch_jobs(settings))
    runner.start()
    try:
        waits = [_told(house, hand, number, round_) for round_, number in enumerate(numbers)]
    finally:
        assert runner.stop(seconds=10)
    worst = sorted(waits)[-1]
    print(f"FIGURE folder_change_to_message_row files={len(waits)} p50_ms={sorted(waits)[2] * 1000:.0f} "
          f"worst_ms={worst * 1000:.0f}")  # fmt: skip
    assert worst < MOST_SECONDS


def _told(house: Any, hand: Hand, number: str, round_: int) -> float:
    """Seconds until there is a message more; each round begins at another moment of the looks."""
    time.sleep(0.17 * round_)
    house.clock.advance(1)
    before, began = _messages(house), time.monotonic()
    (hand.folder / f"{number}.part").write_text(f"{HEADER}{number},done,,,,\n")
    (hand.folder / f"{number}.part").rename(hand.folder / f"{number}.csv")
    while _messages(house) == before and time.monotonic() - began < MOST_SECONDS:
        time.sleep(0.02)
        house.clock.advance(0.02)
    return time.monotonic() - began


def _messages(house: Any) -> int:
    with house.read() as unit:
        return int(unit.connection.scalar(select(func.count()).select_from(s.messages)))

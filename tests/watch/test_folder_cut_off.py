"""A file whose taking is killed at every step is taken exactly once, and so is what is refused of it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from notify.flows.take_changes import MOST
from tests.parts.folder_cut import DEATHS
from tests.parts.watched_folder import LINE, Hand, count_tickets

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.real
def test_killed_between_any_two_steps_nothing_is_taken_twice_and_nothing_is_lost(house: Any, tmp_path: Path) -> None:
    hand = Hand(tmp_path / "from-bench")
    number = house.check_in().numbers[0]
    text = "".join(LINE.format(i) for i in range(5)) + "J-900,done\n" + f"{number},done,,,,\n" * (MOST + 3)
    hand.drop(text)
    (config,) = (tmp_path / "house").glob("config.toml")
    command = [sys.executable, "-m", "tests.parts.folder_cut", str(config), str(hand.folder)]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=True)
    assert told.stdout.split() == [word for _, name in DEATHS for word in (name, "-9")], told.stderr
    assert hand.take(house) == ()
    (taken,), (refused,) = hand.lying("taken"), hand.lying("refused")
    assert hand.lying("taking") == [] and taken.read_text().endswith(text)
    assert [row.split(",")[0] for row in refused.read_text("utf-8-sig").splitlines()] == ["line", "7"]
    assert count_tickets(house) == 6
    print(f"FIGURE watched_folder_killed steps={len(DEATHS)} twice=0 lost=0")

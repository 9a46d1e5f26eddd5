"""A disk whose reads, writes, syncs and opens fail now and then (libfiu), under the whole working service."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass
from email import message_from_bytes
from pathlib import Path

import pytest

from notify.store import messages
from tests.parts.disk_faults import PRELOAD
from tests.parts.installation import NEVER_QUIET, ROOT, Installation, make_installation
from tests.parts.missing import missing

pytestmark = pytest.mark.real
# Seed and share of failing calls. A check-in makes some three hundred calls: at 2 % hardly one comes through, and
# the mild share is there so that some do.
QUICK = ((1, 0.003), (2, 0.01), (3, 0.02))
DEEP = tuple((seed, share) for share in (0.003, 0.01, 0.02, 0.05) for seed in range(10, 16))


@dataclass(frozen=True)
class Outcome:
    """What one life under faults came to."""

    acked: int
    lost: int
    doubled: int
    sound: bool
    injected: int
    asked: int
    told: int
    acked_while_failing: int
    unforeseen: dict[str, int]
    waiting: int
    errors: str


def live(folder: Path, seed: int, share: float, seconds: float) -> Outcome:
    """Runs one life, then looks at what it left with a disk that is well."""
    shop = make_installation(folder, **{"bell.wait_seconds": 0, **NEVER_QUIET})
    child = subprocess.run(
        [sys.executable, "-m", "tests.parts.toil", str(shop.config), str(seed), str(share), str(seconds)],
        cwd=ROOT, capture_output=True, timeout=180, check=False, env={**os.environ, "LD_PRELOAD": str(PRELOAD)},
    )  # fmt: skip
    errors = child.stderr.decode()
    assert child.returncode == 0, errors[-3000:]
    *acks, last = child.stdout.decode().splitlines()
    told = json.loads(last)
    acked = [line.partition(" ")[2] for line in acks]
    delivered = _delivered(shop)
    tally = told["tally"]
    return Outcome(
        acked=len(acked), lost=sum(not delivered[visit] for visit in acked),
        doubled=sum(n > 1 for n in delivered.values()),
        sound=all(_is_sound(file) for file in (shop.config.parent / "data").glob("*.db")),
        injected=told["injected"], asked=told["asked"], told=tally.get("told", 0),
        acked_while_failing=tally.get("acked", 0), waiting=told["waiting"], errors=errors,
        unforeseen={kind: n for kind, n in tally.items() if kind.startswith("unforeseen")},
    )  # fmt: skip


def _delivered(shop: Installation) -> Counter[str]:
    """How many mails lie in the Maildir for each visit, found by the Message-ID that the outbox kept."""
    folder = shop.config.parent / "data" / "mail" / "new"
    ids = Counter(str(message_from_bytes(file.read_bytes())["Message-ID"]) for file in folder.iterdir())
    services = shop.open()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        rows = messages.list_messages(unit, states=["sent"], limit=100_000)
    shop.close()
    return Counter({row.visit_id: ids[row.message_id] for row in rows})


def _is_sound(file: Path) -> bool:
    with sqlite3.connect(file) as connection:
        return connection.execute("pragma integrity_check").fetchall() == [("ok",)]


@pytest.mark.parametrize("lives", [QUICK, pytest.param(DEEP, marks=pytest.mark.deep)], ids=["quick", "deep"])
def test_what_was_acknowledged_on_a_failing_disk_is_told_once_and_the_files_stay_sound(
    tmp_path: Path, lives: tuple[tuple[int, float], ...]
) -> None:
    if not PRELOAD.exists():
        missing("libfiu (disk faults)", "as root: apt-get install fiu-utils")
    began = time.monotonic()
    ends = [live(tmp_path / f"{seed}-{share}", seed, share, 2.5) for seed, share in lives]
    sums = {name: sum(getattr(one, name) for one in ends) for name in
            ("injected", "asked", "acked", "acked_while_failing", "told", "lost", "doubled", "waiting")}  # fmt: skip
    tracebacks = sum("Traceback" in one.errors or "Logging error" in one.errors for one in ends)
    sound = all(one.sound for one in ends)
    print(f"FIGURE B2_disk_faults seeds={len(ends)} injected={sums['injected']} of={sums['asked']} "
          f"acked={sums['acked']} acked_while_failing={sums['acked_while_failing']} refused={sums['told']} "
          f"lost={sums['lost']} doubled={sums['doubled']} integrity={'ok' if sound else 'broken'} "
          f"tracebacks={tracebacks} seconds={time.monotonic() - began:.1f}")  # fmt: skip
    assert sums["injected"] > 100 * len(ends) and sums["told"] > 0 and sums["acked_while_failing"] > 0
    assert sums["lost"] == sums["doubled"] == sums["waiting"] == tracebacks == 0 and sound
    assert [one.unforeseen for one in ends] == [{}] * len(ends)
    assert all("ines" not in one.errors and "@" not in one.errors for one in ends)

"""kill -9 while a source's batch is taken, between its turns and within them: each row counts exactly once."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from notify.core.tickets import Phase
from notify.store import doubts, events, sources, tickets
from tests.parts.installation import ROOT, make_installation
from tests.parts.processes import die_with_parent
from tests.parts.taking_source import ROWS, changes, take_turns

pytestmark = pytest.mark.real
# How many lines of its diary the process gets to write before it is killed: an odd number is within a turn.
KILLS = (3, 4, 7)


def _killed_after(config: Path, lines: int) -> bool:
    """Whether it was killed before it came to its end."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.parts.taking_source", str(config)], cwd=ROOT, stdout=subprocess.PIPE,
        preexec_fn=die_with_parent(signal.SIGKILL),
    ) as taking:  # fmt: skip
        assert taking.stdout is not None
        for _ in range(lines):
            taking.stdout.readline()
        taking.kill()
        return taking.wait(timeout=60) == -signal.SIGKILL


def audit(services: Any) -> Counter[str]:
    """What is there, counted: tickets, their events, doubts, and the figures of the source."""
    with services.context.db.read(services.shop_ids()[0]) as unit:
        found = tickets.tickets_in(unit, list(Phase))
        story = [e.kind for t in found for e in events.story_of(unit, visit_id=t.visit_id) if e.actor_kind == "source"]
        state, waiting = sources.state(unit, "bench"), doubts.list_open(unit, limit=ROWS)
        devices = Counter(ticket.device for ticket in found)
    once = sum(1 for number in devices.values() if number == 1)
    return Counter(story) + Counter(
        {"once": once, "tickets": len(found), "doubts": len(waiting), "taken": state.taken, "doubted": state.doubted}
    )


def test_a_batch_killed_anywhere_and_taken_again_counts_each_row_once(tmp_path: Path) -> None:
    installation = make_installation(tmp_path)
    killed = sum(_killed_after(installation.config, lines) for lines in KILLS)
    services = installation.open()
    try:
        take_turns(services.context, services.shop_ids()[0], changes())
        again = take_turns(services.context, services.shop_ids()[0], changes())
        found = audit(services)
    finally:
        installation.close()
    devices = ROWS - ROWS // 3
    wrong = {name: found[name] for name, wanted in {
        "once": devices, "tickets": devices, "doubts": ROWS // 3, "taken": devices, "doubted": ROWS // 3,
        "work_agreed": devices, "bench_began": devices, "checked_in": devices,
    }.items() if found[name] != wanted}  # fmt: skip
    print(f"FIGURE source_killed kills={killed} rows={ROWS} wrong={len(wrong)}")
    assert killed == len(KILLS) and not wrong and again.known

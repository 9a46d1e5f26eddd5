"""Two processes started at once, and a fork of one: each due job still runs once."""

from __future__ import annotations

import secrets
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest

from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.wiring import build, system_clock
from tests.parts.databases import Backend
from tests.parts.installation import ROOT
from tests.parts.processes import die_with_parent, end
from tests.parts.race import JOBS

pytestmark = pytest.mark.real
WORKERS = 3


def test_two_processes_and_a_fork_run_each_due_job_once(backend: Backend, tmp_path: Path) -> None:
    assert timedelta(hours=23, minutes=55) > system_clock() - system_clock().replace(hour=0, minute=0), (
        "midnight is near"
    )
    config = write_first_installation(
        tmp_path / "shop", public_url="", random_bytes=secrets.token_bytes, changed={"database.url": backend.url}
    )
    build(load(config)).close()  # as `shelfbell init` does: the race is about jobs, not about making the key store
    diary, go = tmp_path / "diary", tmp_path / "go"
    racers = [_start(config, diary, go, how) for how in ("alone", "fork")]
    try:
        deadline = time.monotonic() + 120
        while len(list(tmp_path.glob("go-*"))) < WORKERS:
            assert time.monotonic() < deadline, "the processes did not get ready"
            time.sleep(0.02)
        go.touch()
        errors = [one.communicate(timeout=120)[1].decode() for one in racers]
    finally:
        for one in racers:
            end(one)
    assert [one.returncode for one in racers] == [0, 0], errors
    lines = [line.split() for line in diary.read_text().splitlines()]
    runs, workers = Counter(job for job, _ in lines), Counter(worker for _, worker in lines)
    doubled = sum(count - 1 for count in runs.values())
    print(f"FIGURE scheduler database={backend.name} starts={len(runs)} doubled={doubled} workers={len(workers)}")
    assert len(runs) == JOBS and doubled == 0
    assert len(workers) > 1, "one process did all: there was no race"


def _start(config: Path, diary: Path, go: Path, how: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.parts.race", str(config), str(diary), str(go), how]
    return subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, preexec_fn=die_with_parent(signal.SIGKILL))

"""The watched folder from the command, and as a timed job of the service."""

from __future__ import annotations

import io
import json
import os
import sys
import time
from pathlib import Path

import pytest

from notify.cli.main import run
from notify.cli.watch import watch_jobs
from notify.config.load import load
from notify.schedule.due import DueJobs
from notify.wiring import build

WATCHED = """
[watch.bench]
folder = "from-bench"
[watch.bench.columns]
reference = "Job"
phase = "Where"
[watch.bench.phase_words]
"on the bench" = "on_bench"
"done" = "repaired"
"""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An installation with a watched folder, as `shelfbell init` and an editor leave it."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))  # nobody sits at a terminal
    monkeypatch.chdir(tmp_path)
    assert run(["init", "--name", "Tramstop Bench"]) == 0
    (tmp_path / "from-bench").mkdir()
    with (tmp_path / "config.toml").open("a") as config:
        config.write(WATCHED)
    return tmp_path


def checked_in(capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert run(["check-in", "--device", "Kestrel pocket radio", "--name", "Ines", "--json"]) == 0
    return str(json.loads(capsys.readouterr().out)["numbers"][0])


def drop(home: Path, lines: str) -> Path:
    file = home / "from-bench" / "jobs.csv"
    file.write_text(f"Job,Where\n{lines}")
    os.utime(file, (time.time() - 60, time.time() - 60))
    return file


def phase(number: str, capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert run(["ticket", "list", "--json"]) == 0
    return capsys.readouterr().out.partition(number)[2].partition('"phase": "')[2].partition('"')[0]


def test_the_command_takes_good_lines_and_names_the_refused_one(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    number = checked_in(capsys)
    file = drop(home, f"{number},on the bench\n{number},gone fishing\n")
    assert run(["watch", "--dry-run"]) == 0 and file.exists()
    assert run(["watch"]) == 0
    said = capsys.readouterr().out
    assert "bench: jobs.csv: 1 taken, 0 unchanged, 1 refused" in said and "line 3:" in said
    assert not file.exists() and phase(number, capsys) == "on_bench"


def test_the_service_takes_the_folder_as_a_timed_job(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    number = checked_in(capsys)
    drop(home, f"{number},on the bench\n")
    settings = load(home / "config.toml")
    services = build(settings)
    try:
        assert DueJobs(services, watch_jobs(settings), "test").run_due() == 1
    finally:
        services.close()
    assert phase(number, capsys) == "on_bench"


def test_without_a_watched_folder_the_command_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    monkeypatch.chdir(tmp_path)
    assert run(["init", "--name", "Tramstop Bench"]) == 0
    assert run(["watch"]) == 0
    assert "No folder is watched" in capsys.readouterr().out

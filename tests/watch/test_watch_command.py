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


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    capsys.readouterr()
    assert run(list(arguments)) == 0
    return capsys.readouterr().out


def test_the_command_takes_good_lines_and_says_what_waits_until_somebody_decides(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    number = checked_in(capsys)
    file = drop(home, f"{number},on the bench\nJ-5,gone fishing\n")
    tried = said(capsys, "watch", "bench", "--once", "--dry-run")
    assert file.exists() and "goes from taken in to on bench" in tried and "line 3: would wait for you" in tried
    assert phase(number, capsys) == "taken_in"
    assert "1 taken, 1 wait for you" in said(capsys, "watch", "--once")
    assert not file.exists() and phase(number, capsys) == "on_bench"
    listed = said(capsys, "doubt", "list")
    assert "J-5" in listed and "gone fishing" in listed
    assert "on the bench = on_bench" in said(capsys, "source", "show", "bench")
    (one,) = json.loads(said(capsys, "doubt", "list", "--json"))
    assert "from now on" in said(capsys, "doubt", "mean", "bench", "Gone Fishing", "repaired")
    assert "There is no ticket" in said(capsys, "doubt", "list")
    (one,) = json.loads(said(capsys, "doubt", "list", "--json"))
    assert "goes from on bench to on shelf" in said(capsys, "doubt", "link", one["id"][:8], number)
    assert "Nothing waits" in said(capsys, "doubt", "list") and phase(number, capsys) == "on_shelf"
    (source,) = json.loads(said(capsys, "source", "list", "--json"))
    assert (source["name"], source["state"]["trouble"], source["waiting"]) == ("bench", "", {})


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
    assert run(["watch", "--once"]) == 4
    assert "No source is watched" in capsys.readouterr().err

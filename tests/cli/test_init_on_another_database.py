"""`shelfbell init` on either database: what it makes can be checked, and a device checked in."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from notify.cli.main import run
from tests.parts.databases import Backend


def test_init_sets_up_the_database_that_was_named(
    backend: Backend, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))  # nobody sits at a terminal
    monkeypatch.chdir(tmp_path)
    assert run(["init", "--name", "Tramstop Bench", "--database-url", backend.url]) == 0
    assert not (tmp_path / "data" / "shelfbell.db").exists()
    assert (tmp_path / "data" / "keys.db").exists()
    capsys.readouterr()
    assert run(["check-in", "--device", "Kestrel pocket radio", "--name", "Ines", "--json"]) == 0
    number = json.loads(capsys.readouterr().out)["numbers"][0]
    assert run(["ticket", "show", number]) == 0
    assert "Kestrel pocket radio" in capsys.readouterr().out

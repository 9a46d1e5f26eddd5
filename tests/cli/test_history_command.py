"""Kinds of repair and a shop's history by command: in words, in JSON, with a bar, and with exit codes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Shop

pytestmark = pytest.mark.long

LINES = """kind;minutes;ended
Camera shutter;41,5;24.11.2025
camera shutter;55;24.11.2025 15:00
Tape belt;30;25.11.2025
Camera shutter;soon;25.11.2025
"""


def test_a_history_is_looked_at_read_in_reported_and_dropped(shop: Shop, tmp_path: Path) -> None:
    file = tmp_path / "jobs.csv"
    file.write_text(LINES)
    words = ("history", "import", str(file), "--dates", "dmy")
    look = shop.ok(*words, "--dry-run")
    assert "2 repairs would be taken" in look.out and "Tape belt (1)" in look.out and "line 5: minutes" in look.out
    assert shop.ok("history", "report", "--json").data["jobs"] == 0
    read = shop.ok(*words, "--new-kinds", "--json").data["read"]
    assert (read["taken"], read["refused"], list(read["made"])) == (3, 1, ["Tape belt"])
    report = shop.ok("history", "report").out
    assert "Camera shutter" in report and "The newest 3 repairs" in report
    assert shop.ok("history", "report", "--all", "--json").data["test"]["jobs"] == 3
    assert "0 repairs taken, 3 known before" in shop.ok(*words).out
    assert shop("history", "drop", "--json").code == 2
    assert shop.ok("history", "drop", "--yes", "--json").data["dropped"] == 3
    assert "Nothing was learned yet" in shop.ok("history", "report").out


def test_kinds_are_made_changed_retired_and_said_of_a_ticket(shop: Shop) -> None:
    shop.ok("kind", "set", "Tape belt", "40", "--class", "radio")
    shop.ok("kind", "set", "tape BELT", "45", "--rename", "Tape deck belt")
    rows = {row["name"]: row for row in shop.ok("kind", "list", "--json").data}
    assert rows["Tape deck belt"]["minutes"] == 45 and "Camera shutter" in rows and rows["Another repair"]["catch_all"]
    number = shop.check_in("--kind", "tape deck belt")
    shop.ok("ticket", "kind", number, "Camera shutter")
    assert "no longer offered" in shop.ok("kind", "retire", "Tape deck belt").out
    assert "offered again" in shop.ok("kind", "retire", "Tape deck belt", "--again").out
    assert shop.ok("kind", "relearn").out.startswith("All of it was right")
    for words, code in (
        (("kind", "set", "=1+1", "40"), 2), (("kind", "set", "Belt", "0"), 2), (("kind", "retire", "Nobody knows"), 4),
        (("kind", "retire", "Another repair"), 5),
        (("kind", "set", "Tape deck belt", "9", "--rename", "Camera shutter"), 5),
        (("ticket", "kind", number, "Nobody knows"), 4), (("check-in", "--device", "x", "--kind", "Nobody knows"), 2),
        (("--as", "nobody", "kind", "list"), 4),
    ):  # fmt: skip
        said = shop(*words)
        assert said.code == code and said.err and "Traceback" not in said.err, (words, said.code, said.err)


def test_a_file_that_is_none_is_refused_in_a_sentence(shop: Shop, tmp_path: Path) -> None:
    for content in (b"", b"\x89PNG\r\n", b"name,phone\nx,y\n"):
        file = tmp_path / "jobs.csv"
        file.write_bytes(content)
        said = shop("history", "import", str(file))
        assert said.code == 2 and "must name kind" in said.err
    assert shop("history", "import", str(tmp_path / "nowhere.csv")).code == 2

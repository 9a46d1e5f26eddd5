"""A watched folder that somebody else can write into: nothing outside is touched, one bad file stops no other."""
# ruff: noqa: F811 - the fixture is imported

from __future__ import annotations

import hashlib
import os
import stat
import time
from pathlib import Path
from typing import Any

import pytest

from notify.config.settings import Watch
from notify.core.tickets import Phase
from notify.store import tickets
from notify.watch.folder import AT_ONCE
from tests.watch.test_folder import HEADER, drop, take, watch  # noqa: F401 - a fixture


class Killed(BaseException):
    """The process ends here."""


LINE = "J-{},came in,,Radio,,\n"


@pytest.mark.parametrize("inner", ["taken", "refused"])
def test_a_link_in_the_place_of_our_own_folder_takes_and_removes_nothing(
    inner: str,
    house: Any,
    watch: Watch,
    tmp_path: Path,
) -> None:
    outside = tmp_path / "accounts"
    outside.mkdir()
    (outside / "2019.csv").write_text("years of work", "utf-8")
    drop(watch, LINE.format(1))
    (watch.folder / inner).symlink_to(outside)
    (report,) = take(house, watch, wall_clock=lambda: time.time() + 90 * 86400)
    assert inner in report.problem and report.taken == 0
    assert [file.name for file in outside.iterdir()] == ["2019.csv"] and (watch.folder / "jobs.csv").exists()
    (watch.folder / inner).unlink()
    (watch.folder / inner).touch()
    assert inner in take(house, watch)[0].problem


def test_links_pipes_and_folders_named_like_files_are_left_alone(
    house: Any,
    watch: Watch,
    tmp_path: Path,
) -> None:
    elsewhere = tmp_path / "elsewhere.csv"
    elsewhere.write_text(HEADER + LINE.format(1), "utf-8")
    (watch.folder / "link.csv").symlink_to(elsewhere)
    os.mkfifo(watch.folder / "pipe.csv")
    (watch.folder / "folder.csv").mkdir()
    assert take(house, watch) == () and elsewhere.exists()


@pytest.mark.parametrize("name", ["x" * 251 + ".csv", "\udcff.csv", "two\nlines \x1b[31m.csv", "'; --.CSV", "-rf.csv"])
def test_a_strange_name_is_taken_and_is_no_sign_for_a_terminal(name: str, house: Any, watch: Watch) -> None:
    drop(watch, LINE.format(1) + "J-2,nowhere,,Radio,,\n", name=name)
    drop(watch, LINE.format(3), name="zz.csv", age=30)
    first, second = take(house, watch)
    assert (first.taken, len(first.refused), second.taken) == (1, 1, 1)
    assert first.file.isprintable() and first.file.encode("utf-8")
    assert len(list((watch.folder / "taken").iterdir())) == 2
    assert not [one for one in watch.folder.iterdir() if one.is_file()]


def test_a_file_that_cannot_be_put_away_stops_no_other_and_is_taken_once(
    house: Any,
    watch: Watch,
) -> None:
    drop(watch, LINE.format(1))
    drop(watch, LINE.format(2), name="zz.csv", age=30)
    (watch.folder / "taken").mkdir()
    (watch.folder / "taken" / f"jobs.{_digest(watch.folder / 'jobs.csv')}.csv").mkdir()  # its place is not free
    for _ in range(2):
        reports = {report.file: report for report in take(house, watch)}
        assert "cannot be put away" in reports["jobs.csv"].problem
    with house.read() as unit:
        assert len(tickets.tickets_in(unit, (Phase.TAKEN_IN,))) == 2


@pytest.mark.long
def test_a_long_file_lets_the_counter_in_between_and_is_still_taken_once(house: Any, watch: Watch) -> None:
    lines = "".join(LINE.format(i) for i in range(2 * AT_ONCE + 7)) + "J-9999,nowhere,,Radio,,\n"
    served: list[str] = []

    def customer_comes(_seconds: float) -> None:
        served.extend(house.check_in().numbers)  # would wait for ever behind a file that is one transaction

    drop(watch, lines)
    (report,) = take(house, watch, pause=customer_comes)
    assert (report.taken, [line for line, _ in report.refused], len(served)) == (207, [209], 2)
    drop(watch, lines)
    (again,) = take(house, watch, pause=customer_comes)
    assert (again.taken, again.unchanged, again.refused, len(served)) == (0, 208, (), 4)


@pytest.mark.long
def test_a_long_file_cut_off_between_its_turns_is_taken_to_its_end_the_next_time(house: Any, watch: Watch) -> None:
    def killed(_seconds: float) -> None:
        raise Killed

    drop(watch, "".join(LINE.format(i) for i in range(AT_ONCE + 3)))
    with pytest.raises(Killed):
        take(house, watch, pause=killed)
    (report,) = take(house, watch, pause=lambda _seconds: None)
    assert (report.taken, report.unchanged, report.refused) == (3, AT_ONCE, ())


def test_an_old_file_that_was_refused_stays_to_be_corrected(house: Any, watch: Watch) -> None:
    for text in (b"one\n", b"two\n"):
        drop(watch, text, age=60 * 86400 + len(text) + text[0])
        assert take(house, watch)[0].problem
    kept = [file.read_bytes() for file in (watch.folder / "refused").iterdir()]
    assert sorted(kept) == [b"one\n", b"two\n"]


def test_what_was_refused_is_for_its_owner_only(house: Any, watch: Watch) -> None:
    drop(watch, "J-2,nowhere,,Radio,Ines,ines@example.org\n")
    take(house, watch)
    refused = watch.folder / "refused"
    assert stat.S_IMODE(refused.stat().st_mode) == 0o700


def _digest(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()[:8]

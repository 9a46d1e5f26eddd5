"""A watched folder that somebody else can write into: nothing outside is touched, one bad file stops no other."""

from __future__ import annotations

import os
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from notify.core.sources import Trouble
from notify.flows import source_state
from notify.flows.take_changes import MOST
from notify.watch.csv_rows import open_csv
from notify.watch.json_rows import open_json
from tests.parts.watched_folder import HEADER, LINE, Hand, count_tickets, laid, make_watch

# What is tried here is files; what becomes of them in either database: test_folder.py.
pytestmark = [pytest.mark.long, pytest.mark.parametrize("backend", ["sqlite"], indirect=True)]


@pytest.fixture
def hand(tmp_path: Path) -> Hand:
    return Hand(tmp_path / "from-bench")


@pytest.mark.parametrize("inner", ["taking", "taken", "refused"])
def test_a_link_in_the_place_of_our_own_folder_takes_and_removes_nothing(
    inner: str, house: Any, hand: Hand, tmp_path: Path
) -> None:
    outside = tmp_path / "accounts"
    outside.mkdir()
    (outside / "2019.csv").write_text("years of work", "utf-8")
    hand.drop(LINE.format(1))
    (hand.folder / inner).symlink_to(outside)
    (report,) = hand.take(house, wall_clock=lambda: time.time() + 90 * 86400)
    assert inner in report.problem and not report.taken.taken
    assert [file.name for file in outside.iterdir()] == ["2019.csv"] and (hand.folder / "jobs.csv").exists()
    (hand.folder / inner).unlink()
    (hand.folder / inner).touch()
    assert inner in hand.take(house)[0].problem


def test_links_pipes_and_folders_named_like_files_are_left_alone(house: Any, hand: Hand, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.csv"
    elsewhere.write_text(HEADER + LINE.format(1), "utf-8")
    (hand.folder / "link.csv").symlink_to(elsewhere)
    os.mkfifo(hand.folder / "pipe.csv")
    (hand.folder / "folder.csv").mkdir()
    assert hand.take(house) == () and elsewhere.exists() and len(list(hand.folder.iterdir())) == 3


def test_a_file_that_becomes_a_pipe_or_a_link_between_two_looks_hangs_nothing(
    house: Any, hand: Hand, tmp_path: Path
) -> None:
    (tmp_path / "secret.csv").write_text(HEADER + LINE.format(1), "utf-8")
    one, two = hand.drop(LINE.format(2)), hand.drop(LINE.format(3), name="two.csv")

    def swap(_seconds: float) -> None:
        hand.wait(1)
        for file in (one, two):
            file.unlink()
        os.mkfifo(one)
        two.symlink_to(tmp_path / "secret.csv")

    assert hand.take(house, pause=swap) == () and count_tickets(house) == 0


@pytest.mark.parametrize("name", ["x" * 251 + ".csv", "\udcff.csv", "two\nlines \x1b[31m.csv", "'; --.CSV", "-rf.csv"])
def test_a_strange_name_is_taken_and_is_no_sign_for_a_terminal(name: str, house: Any, hand: Hand) -> None:
    hand.drop(LINE.format(1) + "J-2\n", name=name)
    hand.drop(LINE.format(3), name="zz.csv", age=30)
    first, second = hand.take(house)
    assert (len(first.taken.taken), len(first.refused), len(second.taken.taken)) == (1, 1, 1)
    assert first.what.isprintable() and first.what.encode("utf-8")
    assert (len(hand.lying("taken")), len(hand.lying("refused")), hand.lying("taking")) == (2, 1, [])


def test_a_file_that_cannot_be_put_away_stops_no_other_and_is_taken_once(house: Any, hand: Hand) -> None:
    hand.drop(LINE.format(1))
    hand.drop(LINE.format(2), name="zz.csv", age=30)

    def occupy(point: str) -> None:
        if point == "turn" and not hand.lying("taken"):  # its place is not free
            (hand.folder / "taken" / hand.lying("taking")[0].name).mkdir(parents=True)

    reports = {report.what: report for report in hand.take(house, fault=occupy)}
    assert "put away" in reports["jobs.csv"].problem and reports["zz.csv"].taken.taken
    hand.lying("taken")[0].rmdir()
    (again,) = hand.take(house)
    assert (again.taken.known, count_tickets(house), hand.lying("taking")) == (True, 2, [])


def test_a_file_of_500_megabytes_is_refused_by_its_size_and_never_read(house: Any, hand: Hand) -> None:
    file = hand.folder / "jobs.csv"
    with file.open("wb") as made:
        made.write(HEADER.encode())
        made.truncate(500 * 2**20)  # a file with a hole: large to whoever reads it
    hand.wait(100)
    hand.take(house)
    hand.wait(100)
    tracemalloc.start()
    began = time.process_time()
    reports = hand.take(house)
    seconds, peak = time.process_time() - began, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    found = [file for file in hand.lying("refused") if file.suffix == ".csv"]
    print(f"FIGURE watched_file_of_500_mb seconds={seconds:.3f} peak_kb={peak // 1024}")
    assert len(found) == 1 and (not reports or reports[0].trouble is Trouble.TOO_LARGE)
    assert peak < 4_000_000


def test_a_long_file_lets_the_counter_in_between_and_is_still_taken_once(house: Any, hand: Hand) -> None:
    lines = "".join(LINE.format(i) for i in range(MOST + 7)) + "J-9999\n"
    served: list[str] = []
    told: list[int] = []

    def customer_comes(_seconds: float) -> None:
        hand.wait(1)
        if count_tickets(house):
            served.extend(house.check_in().numbers)  # would wait for ever behind a file that is one transaction

    file = hand.drop(lines)
    when = file.stat().st_mtime_ns
    (report,) = hand.take(house, pause=customer_comes, tell=told.append)
    assert (len(report.taken.taken), [line for line, _ in report.refused], len(served)) == (107, [109], 1)
    assert told == [100, 108]
    os.utime(hand.drop(lines), ns=(when, when))
    (again,) = hand.take(house)
    assert (again.taken.known, len(again.taken.unchanged), again.taken.taken) == (True, 107, ())


@pytest.mark.parametrize("kind", ["csv", "jsonl"])
def test_memory_stays_flat_however_long_a_file_is(kind: str, backend: object, tmp_path: Path) -> None:
    watch, peaks = make_watch(tmp_path), []
    line = (
        f'{{"Job": "J", "Where": "done", "Mail": "{"x" * 300}"}}\n' if kind == "jsonl" else f"J,done,,,,{'x' * 300}\n"
    )
    opener = open_json if kind == "jsonl" else open_csv
    for lines in (1_000, 6_000):
        with laid(((HEADER if kind == "csv" else "") + line * lines).encode(), tmp_path) as file:
            tracemalloc.start()
            assert sum(not one.fault for one in opener(file, watch).lines) == lines
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
    print(f"FIGURE watched_file_memory kind={kind} lines=1000/6000 peak_kb={peaks[0] // 1024}/{peaks[1] // 1024}")
    assert peaks[1] < 12_000_000 and peaks[1] - peaks[0] < 5_000 * 300  # a part of it, never all its lines as texts


def test_a_look_at_nothing_new_writes_nothing(house: Any, hand: Hand) -> None:
    hand.take(house)
    before = _stamp(house)
    house.clock.advance(5)
    hand.wait(5)
    hand.take(house)
    assert _stamp(house) == before
    hand.wait(10)
    hand.take(house)
    assert _stamp(house) != before


def _stamp(house: Any) -> Any:
    return source_state.state(house.ctx, house.shop_id, "bench").looked_at

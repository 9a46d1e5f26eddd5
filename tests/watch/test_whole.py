"""Files that are not whole yet are waited for, whoever writes them and however slowly."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from notify.core.tickets import Phase
from notify.flows import source_state
from notify.watch.whole import has_writer, open_regular
from tests.parts.watched_folder import LINE, Hand, count_tickets, phase_of

# What is tried here is files; what becomes of them in either database: test_folder.py.
pytestmark = [pytest.mark.long, pytest.mark.parametrize("backend", ["sqlite"], indirect=True)]


@pytest.fixture
def hand(tmp_path: Path) -> Hand:
    return Hand(tmp_path / "from-bench")


def test_a_file_that_somebody_has_open_is_waited_for_however_long_it_rests(house: Any, hand: Hand) -> None:
    file = hand.drop(LINE.format(1))
    with file.open("a") as writer:
        if has_writer(os.open(file, os.O_RDONLY)) is None:
            pytest.skip("this file system does not tell who writes")
        for _ in range(3):
            (report,) = hand.take(house)
            assert report.waiting and "another program has it open" in report.problem and not report.taken.taken
            hand.wait(120)
        writer.write(LINE.format(2))
    (report,) = hand.take(house)
    assert len(report.taken.taken) == 2 or report.waiting
    hand.wait(5)
    hand.take(house)
    assert count_tickets(house) == 2


def test_slow_drips_that_close_the_file_each_time_are_waited_for_and_said(house: Any, hand: Hand) -> None:
    file = hand.drop(LINE.format(1), age=0)
    with file.open("a") as writer:
        writer.write("J-2,came")  # no end of its line yet
    waits = [hand.take(house, wall_clock=lambda: 0.0)[0].waiting]
    for number in range(3, 8):
        hand.wait(1.5)
        with file.open("a") as writer:
            writer.write(f" in,,Radio,,\n{LINE.format(number)}J-{number + 10},came")
        waits.append(hand.take(house, wall_clock=lambda: 0.0)[0].waiting)
    assert waits == [True] * 6 and count_tickets(house) == 0
    with file.open("a") as writer:
        writer.write(" in,,Radio,,\n")
    hand.take(house, wall_clock=lambda: 0.0)
    hand.wait(4)
    (report,) = hand.take(house, wall_clock=lambda: 0.0)
    assert (len(report.taken.taken), report.refused) == (12, ())


def test_a_whole_file_is_taken_at_the_first_look(house: Any, hand: Hand) -> None:
    hand.drop(LINE.format(1), age=0)
    began = hand.now
    (report,) = hand.take(house, wall_clock=lambda: 0.0)
    assert len(report.taken.taken) == 1 and hand.now - began < 0.5


def test_half_a_workbook_is_waited_for_and_refused_when_it_stays_half(house: Any, hand: Hand) -> None:
    made = openpyxl.Workbook()
    made.active.append(["Job", "Where", "What"])
    made.active.append(["J-1", "came in", "Radio"])
    made.save(hand.folder / "jobs.xlsx")
    whole = (hand.folder / "jobs.xlsx").read_bytes()
    (hand.folder / "jobs.xlsx").write_bytes(whole[:-10])
    for wait in (5, 30):
        (report,) = hand.take(house, wall_clock=lambda: 0.0)
        assert report.waiting and "end is missing" in report.problem
        hand.wait(wait)
    hand.wait(30)
    (report,) = hand.take(house, wall_clock=lambda: 0.0)
    assert report.trouble and len(hand.lying("refused")) == 2
    (hand.folder / "jobs.xlsx").write_bytes(whole)
    assert len(hand.take(house, wall_clock=lambda: 0.0)[0].taken.taken) == 1


def test_files_under_the_names_of_half_written_ones_are_left_alone(house: Any, hand: Hand) -> None:
    names = ("jobs.csv.part", "jobs.csv.tmp", ".jobs.csv", "~$jobs.xlsx", ".~lock.jobs.csv#", "notes.txt", "jobs.xls")
    for name in names:
        hand.drop(LINE.format(1), name=name)
    assert hand.take(house) == () and len(list(hand.folder.iterdir())) == len(names)


def test_a_newer_file_under_the_same_name_is_not_mistaken_for_the_one_that_was_read(house: Any, hand: Hand) -> None:
    """The other system writes the next one while the first is taken: neither is lost."""
    hand.drop(LINE.format(1))
    (first,) = hand.take(house, fault=lambda point: point == "claimed" and hand.drop(LINE.format(2)))
    (second,) = hand.take(house)
    assert (len(first.taken.taken), len(second.taken.taken), count_tickets(house)) == (1, 1, 2)


def test_a_file_that_changes_while_it_is_read_is_read_again(house: Any, hand: Hand) -> None:
    def write_more(point: str) -> None:
        if point == "turn" and not done:
            done.append(point)
            with hand.lying("taking")[0].open("a") as writer:
                writer.write(LINE.format(500))

    done: list[str] = []
    hand.drop("".join(LINE.format(number) for number in range(105)))
    (report,) = hand.take(house, fault=write_more)
    assert report.waiting and "changed" in report.problem
    (report,) = hand.take(house)
    assert (len(report.taken.unchanged), len(report.taken.taken), count_tickets(house)) == (100, 6, 106)


def test_a_file_that_vanishes_is_no_trouble(house: Any, hand: Hand) -> None:
    file = hand.drop(LINE.format(1))
    assert hand.take(house, pause=lambda seconds: file.unlink(missing_ok=True)) == ()


def test_what_staff_did_while_a_file_waited_is_not_overridden_by_it(house: Any, hand: Hand) -> None:
    """Its words were said before they did it: a look at a file that waits is no look at what it says."""
    number = house.check_in().numbers[0]
    hand.take(house)
    before = source_state.state(house.ctx, house.shop_id, "bench").well_at
    file = hand.drop(f"{number},on the bench,,,,")  # its last line has no end
    house.clock.advance(60)
    assert hand.take(house, wall_clock=lambda: 0.0)[0].waiting
    assert source_state.state(house.ctx, house.shop_id, "bench").well_at == before
    with file.open("a") as writer:
        writer.write("\n")
    hand.take(house, wall_clock=lambda: 0.0)
    hand.wait(5)
    hand.take(house)
    assert phase_of(house, number) is Phase.ON_BENCH
    assert source_state.state(house.ctx, house.shop_id, "bench").well_at == house.clock()


def test_a_pipe_is_not_waited_for_and_a_link_not_followed_even_between_look_and_opening(
    backend: object, tmp_path: Path
) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "real.csv").write_text("x")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    for name in ("pipe.csv", "link.csv"):
        with pytest.raises(OSError):
            open_regular(tmp_path / name)

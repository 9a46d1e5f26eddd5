"""A watched folder: whole files are taken once, line by line; what cannot be read is kept with its reason."""

from __future__ import annotations

import csv
import io
import os
import stat
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from notify.core.sources import Doubt, Trouble
from notify.core.tickets import Phase
from notify.flows import source_state
from notify.store import events, messages, tickets
from tests.parts.watched_folder import HEADER, LINE, Hand, phase_of


@pytest.fixture
def hand(tmp_path: Path) -> Hand:
    return Hand(tmp_path / "from-bench")


def test_a_line_moves_a_known_ticket_through_the_phases_between(house: Any, hand: Hand) -> None:
    number = house.check_in().numbers[0]
    hand.drop(f"{number},on the bench,,,,\n")
    (report,) = hand.take(house)
    assert (report.taken.taken, report.refused, phase_of(house, number)) == ((2,), (), Phase.ON_BENCH)
    assert (len(hand.lying("taken")), hand.lying("taking"), hand.lying("refused")) == (1, [], [])


def test_an_unknown_job_with_a_device_is_taken_in_and_told(house: Any, hand: Hand) -> None:
    hand.drop("J-77,done,,Gull e-reader,Tomas Reed,tomas@example.org\n")
    (report,) = hand.take(house)
    assert report.taken.taken == (2,)
    with house.read() as unit:
        (ticket,) = tickets.tickets_in(unit, [Phase.ON_SHELF])
        assert (ticket.device, ticket.outcome) == ("Gull e-reader", "repaired")
        assert "ready" in {m.notice for m in messages.messages_of_visit(unit, ticket.visit_id)}


def test_a_line_that_cannot_be_read_is_refused_and_one_that_cannot_be_taken_waits(house: Any, hand: Hand) -> None:
    good = house.check_in().numbers[0]
    hand.drop(f'X,lost at sea,,,,\n{good},done,,,,\nJ-1,done\nJ-2,done,"=1+1\nJ-3,came in,,Radio,Kim,kim@example.org\n')
    (report,) = hand.take(house)
    assert report.taken.taken == (3, 6) and phase_of(house, good) is Phase.ON_SHELF
    assert [line for line, _ in report.refused] == [4, 5]
    assert [(line, kind) for line, kind, _ in report.taken.doubted] == [(2, Doubt.UNKNOWN_WORD)]
    (kept,) = hand.lying("refused")
    told = list(csv.reader(io.StringIO(kept.read_text("utf-8-sig"))))
    assert told[0] == ["line", "reason", *HEADER.strip().split(",")]
    assert [(row[0], row[2], row[3]) for row in told[1:]] == [("4", "J-1", "done"), ("5", "J-2", "done")]
    assert told[2][4] == "'=1+1"  # ASVS 5.0.0, 1.2.10
    assert source_state.state(house.ctx, house.shop_id, "bench").position == {"refused_files": 1}


def test_corrected_lines_that_are_put_back_are_taken_as_they_were_meant(house: Any, hand: Hand) -> None:
    hand.drop("J-5,came in,,+Radio,Kim,kim@example.org,x\n")
    hand.take(house)
    (kept,) = hand.lying("refused")
    text = kept.read_text("utf-8-sig")
    assert ",'+Radio," in text
    hand.drop(text.replace(",x\n", "\n").encode("utf-8-sig"), name="mended.csv")
    (report,) = hand.take(house)
    assert (len(report.taken.taken), report.refused) == (1, ())
    with house.read() as unit:
        assert tickets.tickets_in(unit, [Phase.TAKEN_IN])[0].device == "+Radio"


def test_workbooks_and_json_lines_are_taken_as_csv_is(house: Any, hand: Hand) -> None:
    one, two = house.check_in().numbers[0], house.check_in().numbers[0]
    made = openpyxl.Workbook()
    for row in (HEADER.strip().split(","), [one, "done"], ["J-1", "done", None, "=too much", "x" * 5_000]):
        made.active.append(row)
    made.active["D3"].data_type = "s"
    out = io.BytesIO()
    made.save(out)
    hand.drop(out.getvalue(), name="jobs.XLSX", age=70)
    hand.drop(f'{{"Job": "{two}", "Where": "on the bench"}}\n{{"Job": 1\n'.encode(), name="jobs.jsonl")
    first, second = hand.take(house)
    assert (first.taken.taken, [line for line, _ in first.refused]) == ((2,), [3])
    assert (second.taken.taken, [line for line, _ in second.refused]) == ((1,), [2])
    assert (phase_of(house, one), phase_of(house, two)) == (Phase.ON_SHELF, Phase.ON_BENCH)
    kept = "".join(file.read_text("utf-8-sig") for file in hand.lying("refused"))
    assert "'=too much" in kept and '{\\"Job\\": 1' in kept


def test_the_same_file_and_the_same_lines_twice_change_nothing(house: Any, hand: Hand) -> None:
    number = house.check_in().numbers[0]
    text = f"{number},done,,,,\nJ-9,came in,,Radio,Kim,kim@example.org\nJ-1\n"
    file = hand.drop(text)
    when = file.stat().st_mtime_ns
    assert hand.take(house)[0].taken.taken == (2, 3)
    before = _stories(house)
    os.utime(hand.drop(text, name="again.csv"), ns=(when, when))  # the very same file
    assert (hand.take(house)[0].taken.known, _stories(house)) == (True, before)
    hand.drop(text + f"{number},done,,,,\n", name="third.csv")  # other octets, same lines
    (report,) = hand.take(house)
    assert (report.taken.taken, report.taken.unchanged, _stories(house)) == ((), (2, 3, 5), before)


def test_the_same_octets_written_anew_count_when_the_device_is_there_again(house: Any, hand: Hand) -> None:
    """A file for each change, without times: on the bench, being proved, and on the bench again."""
    number = house.check_in().numbers[0]
    watch = replace(hand.watch, phase_words=(*hand.watch.phase_words, ("proving", "proving")))
    for age, word in ((90, "on the bench"), (80, "proving"), (70, "on the bench")):
        hand.drop(f"{number},{word},,,,\n", age=age)
        hand.take(house, watch=watch)
    assert phase_of(house, number) is Phase.ON_BENCH


def _stories(house: Any) -> Any:
    with house.read() as unit:
        whole = tickets.tickets_in(unit, list(Phase))
        return [(t, events.story_of(unit, visit_id=t.visit_id)) for t in whole]


def test_a_dry_run_says_what_would_come_and_changes_nothing(house: Any, hand: Hand) -> None:
    number = house.check_in().numbers[0]
    file = hand.drop(f"{number},done,,,,\nJ-1,done\n")
    (report,) = hand.take(house, dry_run=True)
    assert ([line for line, _ in report.taken.would], len(report.refused)) == ([2], 1)
    assert phase_of(house, number) is Phase.TAKEN_IN and [one.name for one in hand.folder.iterdir()] == [file.name]
    assert source_state.state(house.ctx, house.shop_id, "bench").looked_at is None
    assert hand.take(house)[0].taken.taken == (2,)


WRONG = {
    "octets.csv": b"\xff\xfe\x00broken", "workbook.csv": b"PK\x03\x04" + b"\0" * 50, "empty.csv": b"",
    "columns.csv": b"one,two\n1,2\n", "large.csv": b"x" * 200_000, "text.xlsx": b"Job,Where\n", "list.json": b"[1]\n",
}  # fmt: skip


def test_a_file_of_the_wrong_kind_is_put_aside_with_the_reason_beside_it(house: Any, hand: Hand) -> None:
    for name, data in WRONG.items():
        hand.drop(data, name=name, age=61)
    reports = hand.take(house, limit_bytes=100_000)
    assert {report.what for report in reports if report.trouble and report.problem} == set(WRONG)
    names = [file.name for file in hand.lying("refused")]
    assert (len(names), sum(name.endswith(".txt") for name in names)) == (2 * len(WRONG), len(WRONG))
    assert "larger than 97 kB" in next(f for f in hand.lying("refused") if f.name.startswith("large") and
                                       f.suffix == ".txt").read_text()  # fmt: skip


def test_a_file_with_more_bad_lines_than_it_may_have_is_put_aside_whole(house: Any, hand: Hand) -> None:
    hand.drop(LINE.format(1) + "J-2\n" * 1_500)
    (report,) = hand.take(house)
    assert report.trouble is Trouble.WRONG_ANSWER and (hand.lying("taken"), len(hand.lying("refused"))) == ([], 2)


@pytest.mark.parametrize(("keep_days", "after", "taken", "refused"), [
    (14, 13, 1, 1), (14, 15, 0, 0), (0, 0, 0, 1), (0, 2, 0, 0),
])  # fmt: skip
def test_what_was_taken_and_refused_is_removed_after_its_time(
    keep_days: int, after: float, taken: int, refused: int, house: Any, hand: Hand
) -> None:
    watch = replace(hand.watch, keep_days=keep_days)
    hand.drop(LINE.format(1) + "J-2\n", age=60 * 86_400)  # what counts is when it came here
    hand.take(house, watch=watch)
    hand.take(house, watch=watch, wall_clock=lambda: time.time() + after * 86_400)
    assert (len(hand.lying("taken")), len(hand.lying("refused"))) == (taken, refused)


def test_what_lies_there_is_for_its_owner_only(house: Any, hand: Hand) -> None:
    hand.drop(LINE.format(1) + "J-2\n")
    hand.take(house)
    for drawer in ("taken", "refused"):
        (file,) = hand.lying(drawer)
        assert (stat.S_IMODE(file.parent.stat().st_mode), stat.S_IMODE(file.stat().st_mode)) == (0o700, 0o600)


def test_a_missing_folder_is_said_and_noted_until_it_is_back(house: Any, hand: Hand) -> None:
    hand.folder.rmdir()
    (report,) = hand.take(house)
    assert "not there" in report.problem
    assert source_state.state(house.ctx, house.shop_id, "bench").trouble == Trouble.MISSING
    hand.folder.mkdir()
    hand.wait(60)
    assert hand.take(house) == ()
    assert source_state.state(house.ctx, house.shop_id, "bench").trouble == ""

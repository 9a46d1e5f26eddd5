"""A watched folder: whole files are taken once, line by line; what is refused is kept with its reason."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest

from notify.config.settings import Watch
from notify.core.tickets import Phase
from notify.store import events, messages, tickets
from notify.watch.folder import KEPT, Report, take_folder

HEADER = "Job,Where,When,What,Who,Mail\n"


@pytest.fixture
def watch(tmp_path: Path) -> Watch:
    folder = tmp_path / "from-bench"
    folder.mkdir()
    columns = {
        "reference": "Job",
        "phase": "Where",
        "changed_at": "When",
        "device": "What",
        "name": "Who",
        "email": "Mail",
    }
    words = {"came in": "taken_in", "on the bench": "on_bench", "done": "repaired", "no luck": "unrepaired"}
    return Watch("bench", folder, tuple(columns.items()), tuple(words.items()), ",", "utf-8", "Europe/London")


def drop(watch: Watch, text: str | bytes, *, name: str = "jobs.csv", age: float = 60) -> Path:
    file = watch.folder / name
    file.write_bytes(text if isinstance(text, bytes) else (HEADER + text).encode())
    os.utime(file, (time.time() - age, time.time() - age))
    return file


def take(house: Any, watch: Watch, **more: Any) -> tuple[Report, ...]:
    return take_folder(house.ctx, house.shop_id, watch, limit_bytes=100_000, **more)


def phase_of(house: Any, number: str) -> Phase:
    with house.read() as unit:
        return tickets.find_by_number(unit, number).phase


def test_a_line_moves_a_known_ticket_through_the_phases_between(house: Any, watch: Watch) -> None:
    number = house.check_in().numbers[0]
    drop(watch, f"{number},on the bench,,,,\n")
    (report,) = take(house, watch)
    assert (report.taken, report.refused, phase_of(house, number)) == (1, (), Phase.ON_BENCH)
    assert not (watch.folder / "jobs.csv").exists()


def test_an_unknown_job_with_a_device_is_taken_in_and_told(house: Any, watch: Watch) -> None:
    drop(watch, "J-77,done,,Gull e-reader,Tomas Reed,tomas@example.org\n")
    (report,) = take(house, watch)
    assert report.taken == 1
    with house.read() as unit:
        (ticket,) = tickets.tickets_in(unit, [Phase.ON_SHELF])
        assert (ticket.device, ticket.outcome) == ("Gull e-reader", "repaired")
        assert {m.notice for m in messages.messages_of_visit(unit, ticket.visit_id)} == {"checked_in", "ready"}
    drop(watch, "J-77,no luck,2026-11-25T08:00,Gull e-reader,Tomas Reed,tomas@example.org\n", name="later.csv")
    (report,) = take(house, watch)
    assert "older" in report.refused[0][1]


def test_a_bad_line_is_refused_with_its_number_and_reason_and_the_rest_is_taken(house: Any, watch: Watch) -> None:
    good = house.check_in().numbers[0]
    drop(watch, "X,lost at sea,,,,\n" f"{good},done,,,,\n" ",done,,,,\n" "J-1,done\n" "J-2,done,,,,\n"
                "J-3,came in,,Radio,Kim,not an address\n" f"{good},done,2027-01-01T09:00,,,\n")  # fmt: skip
    (report,) = take(house, watch)
    assert report.taken == 1 and phase_of(house, good) is Phase.ON_SHELF
    reasons = dict(report.refused)
    assert set(reasons) == {2, 4, 5, 6, 7, 8}
    assert "lost at sea" in reasons[2] and "came in" in reasons[2]
    assert "columns" in reasons[5] and "ahead" in reasons[8]
    (kept,) = (watch.folder / "refused").glob("*.csv")
    assert "J-2,done" in kept.read_text() and "lost at sea" in kept.read_text()
    with house.read() as unit:
        assert len(tickets.tickets_in(unit, list(Phase))) == 1  # nothing half-written


def test_the_same_file_twice_changes_nothing(house: Any, watch: Watch) -> None:
    number = house.check_in().numbers[0]
    text = f"{number},done,,,,\nJ-9,came in,,Radio,Kim,kim@example.org\n"
    drop(watch, text)
    assert take(house, watch)[0].taken == 2
    before = _digest(house)
    drop(watch, text, name="again.csv")
    assert (take(house, watch)[0].taken, _digest(house)) == (0, before)
    drop(watch, text + f"{number},done,,,,\n", name="third.csv")  # other bytes, same rows
    assert (take(house, watch)[0].taken, _digest(house)) == (0, before)


def _digest(house: Any) -> Any:
    with house.read() as unit:
        whole = tickets.tickets_in(unit, list(Phase))
        return [(t, events.story_of(unit, visit_id=t.visit_id)) for t in whole]


def test_a_dry_run_says_what_would_come_and_changes_nothing(house: Any, watch: Watch) -> None:
    number = house.check_in().numbers[0]
    file = drop(watch, f"{number},done,,,,\n")
    assert take(house, watch, dry_run=True)[0].taken == 1
    assert phase_of(house, number) is Phase.TAKEN_IN and file.exists()
    assert take(house, watch)[0].taken == 1


def test_a_half_written_file_is_waited_for(house: Any, watch: Watch) -> None:
    drop(watch, "J-1,came in,,Radio,,\n", age=0)
    assert take(house, watch) == ()


@pytest.mark.parametrize("data", [
    b"\xff\xfe\x00broken", b"PK\x03\x04" + b"\0" * 50, b"", b"one,two\n1,2\n", HEADER.encode() + b'"open quote,x\n',
    "Job;Where\n1;done\n".encode("utf-16"), b"x" * 200_000,
], ids=["bytes", "workbook", "empty", "other-columns", "quote", "utf-16", "large"])  # fmt: skip
def test_a_file_of_the_wrong_kind_is_put_aside_with_a_clear_answer(house: Any, watch: Watch, data: bytes) -> None:
    drop(watch, data)
    (report,) = take(house, watch)
    assert report.taken == 0
    assert report.problem or report.refused
    assert list((watch.folder / "refused").glob("*.csv"))


def test_what_was_taken_is_removed_after_its_time(house: Any, watch: Watch) -> None:
    drop(watch, "J-1,came in,,Radio,,\n")
    take(house, watch)
    assert len(list((watch.folder / "taken").glob("*.csv"))) == 1
    take(house, watch, wall_clock=lambda: time.time() + KEPT.total_seconds() + 60)
    assert not list((watch.folder / "taken").glob("*.csv"))


def test_a_missing_folder_is_said(house: Any, watch: Watch) -> None:
    watch.folder.rmdir()
    assert "not there" in take(house, watch)[0].problem

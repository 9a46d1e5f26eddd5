"""How long hands were on a device: the rule case by case, and against a clock that ticks through random stories.

No published rule was found; common practice, no source. The second opinion is a machine that walks a story minute by
minute and asks at each whether the device lies on the bench, the shop is open and nobody waits for the customer.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta

import pytest

from notify.core.hands_on import open_seconds, without, work_spans
from notify.core.tickets import UNDO_WITHIN
from tests.parts.told import COUNTER, at
from tests.parts.told import Told as Story


class Told(Story):
    """A story that says how many minutes were worked."""

    def minutes(self, until: datetime) -> float:
        return open_seconds(COUNTER, work_spans(self.events, "t", until=until, at_once=UNDO_WITHIN)) / 60


def test_a_stint_counts_from_the_bench_to_proving_and_another_one_is_added() -> None:
    told = Told()
    told.move("bench_began", "on_bench", at("9:10"))
    told.move("put_back", "in_line", at("9:50"))
    told.move("bench_began", "on_bench", at("11:00"))
    told.move("repair_done", "proving", at("11:05"))
    assert told.minutes(at("17:00")) == 45


def test_night_and_weekend_do_not_count_and_work_after_closing_neither() -> None:
    told = Told()
    told.move("bench_began", "on_bench", at("17:30", 2))  # Friday
    told.move("repair_done", "proving", at("9:20", 5))  # Monday
    assert told.minutes(at("17:00", 6)) == 30 + 20
    late = Told()
    late.move("bench_began", "on_bench", at("18:30"))
    late.move("repair_done", "proving", at("19:30"))
    assert late.minutes(at("20:00")) == 0


def test_it_stands_still_while_a_question_is_open_and_runs_on_when_it_is_answered() -> None:
    told = Told()
    told.move("bench_began", "on_bench", at("9:00"))
    told.note("question_asked", at("9:10"), question="q")
    told.note("question_asked", at("9:20"), question="r")
    told.note("question_answered", at("9:40"), question="q")
    told.note("question_expired", at("10:00"), question="r")
    told.move("repair_done", "proving", at("10:05"))
    assert told.minutes(at("12:00")) == 10 + 5


def test_a_yes_taken_back_stops_it_again_unless_the_question_is_over() -> None:
    for still_open, minutes in ((1, 30), (0, 60)):
        told = Told()
        told.note("question_asked", at("9:00"), question="q")
        told.note("question_answered", at("9:05"), question="q")
        told.move("bench_began", "on_bench", at("10:00"))
        told.note("answer_taken_back", at("10:30"), question="q", open=still_open)
        assert told.minutes(at("11:00")) == minutes


def test_a_move_undone_at_once_interrupts_nothing_and_one_corrected_later_leaves_the_time_between_out() -> None:
    for seconds, minutes in ((60, 120), (3600, 60)):
        told = Told()
        told.move("bench_began", "on_bench", at("10:00"))
        wrong = told.move("shelved", "on_shelf", at("10:30"))
        told.undo(wrong, "on_bench", at("10:30") + timedelta(seconds=seconds))
        assert told.minutes(at("12:00")) == minutes


def test_a_stint_whose_beginning_is_taken_back_never_was() -> None:
    told = Told()
    began = told.move("bench_began", "on_bench", at("10:00"))
    left = told.move("put_back", "in_line", at("10:30"))
    told.undo(left, "on_bench", at("10:31"))
    assert told.minutes(at("10:40")) == 40
    told.undo(began, "in_line", at("10:41"))
    assert told.minutes(at("17:00")) == 0


def test_steps_entered_later_count_at_their_true_times_and_an_end_before_its_beginning_counts_nothing() -> None:
    told = Told()
    told.move("bench_began", "on_bench", at("9:00"))
    told.move("put_back", "in_line", at("8:00"))
    assert told.minutes(at("12:00")) == 0
    told.move("bench_began", "on_bench", at("10:00"))
    assert told.minutes(at("10:07:30")) == 7.5


@pytest.mark.parametrize(
    ("gaps", "left"),
    [
        ([], [(0, 9)]), ([(2, 4)], [(0, 2), (4, 9)]), ([(2, 6), (3, 4)], [(0, 2), (6, 9)]), ([(-3, 2)], [(2, 9)]),
        ([(5, 20)], [(0, 5)]), ([(-1, 30)], []), ([(20, 30)], [(0, 9)]), ([(9, 9)], [(0, 9)]),
    ],
)  # fmt: skip
def test_what_is_left_of_a_span_when_gaps_are_taken_out(
    gaps: list[tuple[int, int]], left: list[tuple[int, int]]
) -> None:
    def moment(minutes: int) -> datetime:
        return at("10:00") + timedelta(minutes=minutes)

    found = without((moment(0), moment(9)), [(moment(a), moment(b)) for a, b in gaps])
    assert list(found) == [(moment(a), moment(b)) for a, b in left]


STEPS = {
    "in_line": (("bench_began", "on_bench"),),
    "on_bench": (("put_back", "in_line"), ("repair_done", "proving"), ("shelved", "on_shelf")),
    "proving": (("proof_failed", "on_bench"), ("shelved", "on_shelf")),
    "on_shelf": (("called_back", "in_line"),),
}


def ticking(chance: random.Random, minutes: int) -> tuple[Told, int]:
    """A random story on whole minutes, and the minutes that a clock counted which saw only the state of each."""
    told, counted, asked = Told(), 0, False
    for n in range(minutes):
        now = at("8:00") + timedelta(minutes=n)
        if chance.random() < 0.08:
            kind, to = chance.choice(STEPS[told.phase])
            told.move(kind, to, now)
        if chance.random() < 0.05:
            told.note("question_answered" if asked else "question_asked", now, question="q")
            asked = not asked
        is_open = now.weekday() < 5 and 9 <= now.hour < 18
        counted += told.phase == "on_bench" and is_open and not asked
    return told, counted


def test_random_stories_come_to_what_a_ticking_clock_counts() -> None:
    chance, worked = random.Random(20), 0
    for _ in range(60):
        told, counted = ticking(chance, 700)
        assert told.minutes(at("8:00") + timedelta(minutes=700)) == counted
        worked += counted
    print(f"FIGURE hands_on stories=60 minutes={worked} differing=0")
    assert worked > 5000


def test_a_move_taken_back_at_the_last_moment_of_undo_interrupts_nothing_and_a_second_later_leaves_a_gap() -> None:
    for late, counted in ((timedelta(0), 60.0), (timedelta(seconds=1), 60 - 91 / 60)):
        told = Told()
        told.move("bench_began", "on_bench", at("10:00"))
        wrong = told.move("put_back", "in_line", at("10:20"))
        told.undo(wrong, "on_bench", at("10:20") + UNDO_WITHIN + late)
        assert told.minutes(at("11:00")) == pytest.approx(counted, abs=1 / 60)

"""Where a device's time goes: a day worked out by hand, a clock that ticks through random stories, and Little's law.

The causes and their order are common practice, no source. Three opinions stand beside the code: open minutes that were
counted on paper, a machine that walks each story minute by minute, and L = lambda W (Little 1961), which holds for any
shop whatever, on a queue simulated here; its published mean is in tests/vectors/forecast.json (C01).
"""

from __future__ import annotations

import random
from collections import Counter as Counts
from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from notify.core.events import OTHER_EVENTS, Event
from notify.core.hands_on import open_seconds, work_spans
from notify.core.open_time import open_times
from notify.core.tickets import MOVE_EVENTS, UNDO_WITHIN
from notify.core.where_time_goes import TELLING, Cause, Spell, add_up, spells
from tests.parts.told import COUNTER, DAY, at
from tests.parts.told import Told as Story

MINUTE = timedelta(minutes=1)


class Told(Story):
    """A story from taking in."""

    def __init__(self, when: datetime) -> None:
        super().__init__([Event("e0", "checked_in", when, "v", "t")], "taken_in")


def found(told: Told, until: datetime, first: datetime = DAY) -> tuple[Spell, ...]:
    return spells(told.events, first=first, until=until)


def minutes(those: Sequence[Spell]) -> dict[str, tuple[float, float]]:
    """cause -> (open, wall) minutes."""
    ahead = open_times([edge for one in those for edge in (one.start, one.end)], COUNTER)
    return {str(cause): (spent.open / 60, spent.wall / 60) for cause, spent in add_up(those, ahead).items()}


def test_a_repair_over_two_days_comes_to_the_minutes_counted_by_hand() -> None:
    """Open from 9 to 18. By hand, in open minutes: Wednesday 9:30 to 10:00 for the bench 30, looked at until 10:20: 20,
    for the customer until 14:20: 240, for the bench until 14:50: 30 (work is agreed at 14:50), for a part until
    Thursday 11:00: 190 that day and 120 the next, for the bench until 11:30: 30, on the bench until 12:15: 45, proved
    until 12:25: 10, on the shelf until Friday 10:00: 335 and 60. By the calendar nights come on top: 15 hours each."""
    told = Told(at("9:30"))
    told.move("inspection_began", "inspecting", at("10:00"))
    told.note("question_asked", at("10:20"), question="q")
    told.note("question_answered", at("14:20"), question="q")
    told.move("work_agreed", "in_line", at("14:20"))
    told.note("part_needed", at("14:50"), part="p")
    told.note("part_ordered", at("15:00"), part="p")
    told.note("part_arrived", at("11:00", 1), part="p")
    told.move("bench_began", "on_bench", at("11:30", 1))
    told.move("repair_done", "proving", at("12:15", 1))
    told.move("shelved", "on_shelf", at("12:25", 1))
    told.move("handed_back", "handed_back", at("10:00", 2))
    night = 15 * 60
    assert minutes(found(told, at("17:00", 2))) == {
        "line": (30 + 30 + 30, 30 + 30 + 30), "inspecting": (20, 20), "customer": (240, 240),
        "part": (190 + 120, 190 + night + 120), "bench": (45, 45), "proving": (10, 10),
        "shelf": (335 + 60, 335 + night + 60),
    }  # fmt: skip


def test_only_what_lies_between_the_two_instants_counts() -> None:
    told = Told(at("9:00"))
    told.move("work_agreed", "in_line", at("10:00"))
    told.move("bench_began", "on_bench", at("11:00"))
    assert minutes(found(told, at("11:20"), first=at("10:45"))) == {"line": (15, 15), "bench": (20, 20)}
    assert found(told, at("8:00")) == ()
    assert spells((), first=DAY, until=at("12:00")) == ()


def test_a_move_taken_back_at_once_never_was_and_after_a_late_correction_the_time_between_is_unclear() -> None:
    for later, want in ((1, {"line": (60, 60)}), (30, {"line": (30, 30), "unclear": (30, 30)})):
        told = Told(at("9:00"))
        wrong = told.move("shelved_unrepaired", "on_shelf", at("9:20"))
        told.undo(wrong, "taken_in", at("9:20") + later * MINUTE)
        assert minutes(found(told, at("10:00"))) == want


def test_work_begun_without_the_part_is_work_and_a_question_stops_it() -> None:
    told = Told(at("9:00"))
    told.note("part_needed", at("9:00"), part="p")
    told.move("work_agreed", "in_line", at("9:10"))
    told.move("bench_began", "on_bench", at("9:30"))
    told.note("question_asked", at("9:40"), question="q")
    told.note("question_withdrawn", at("9:45"), question="q")
    told.move("put_back", "in_line", at("10:00"))
    told.note("part_not_needed", at("10:20"), part="p")
    want = {"part": (50, 50), "bench": (25, 25), "customer": (5, 5), "line": (10, 10)}
    assert minutes(found(told, at("10:30"))) == want


def test_time_in_its_owners_hands_is_nobodys_and_a_device_that_comes_back_counts_again() -> None:
    told = Told(at("9:00"))
    told.move("shelved_unrepaired", "on_shelf", at("9:10"))
    told.move("handed_back", "handed_back", at("9:30"))
    told.move("handover_undone", "on_shelf", at("10:30"))
    assert minutes(found(told, at("11:00"))) == {"line": (10, 10), "shelf": (50, 50)}


def test_a_clock_that_was_put_back_makes_no_time_negative() -> None:
    told = Told(at("9:00"))
    told.move("bench_began", "on_bench", at("10:00"))
    told.move("put_back", "in_line", at("9:15"))
    assert minutes(found(told, at("10:30"))) == {"line": (90, 90)}


STEPS = {
    "taken_in": (("inspection_began", "inspecting"), ("work_agreed", "in_line")),
    "inspecting": (("work_agreed", "in_line"),),
    "in_line": (("bench_began", "on_bench"),),
    "on_bench": (("put_back", "in_line"), ("repair_done", "proving"), ("shelved", "on_shelf")),
    "proving": (("proof_failed", "on_bench"), ("shelved", "on_shelf")),
    "on_shelf": (("called_back", "in_line"), ("handed_back", "handed_back")),
    "handed_back": (("handover_undone", "on_shelf"),),
}


def ticking(chance: random.Random, number: int) -> tuple[Told, Counts[tuple[str, bool]]]:
    """A random story on whole minutes from 8:00, and the minutes of each cause that a clock counted as it went on."""
    told, counted, asked, missing = Told(at("8:00")), Counts[tuple[str, bool]](), False, False
    for n in range(number):
        now = at("8:00") + n * MINUTE
        if chance.random() < 0.06:
            told.move(*chance.choice(STEPS[told.phase]), now)
        if chance.random() < 0.03:
            told.note("question_expired" if asked else "question_asked", now, question="q")
            asked = not asked
        if chance.random() < 0.03:
            told.note("part_arrived" if missing else "part_needed", now, part="p")
            missing = not missing
        cause = {"taken_in": "line", "in_line": "line", "on_bench": "bench", "on_shelf": "shelf"}.get(
            told.phase, told.phase
        )
        if told.phase in ("taken_in", "inspecting", "in_line"):
            cause = "customer" if asked else "part" if missing else cause
        elif told.phase == "on_bench" and asked:
            cause = "customer"
        counted[cause, 9 <= now.hour < 18] += 1
    del counted["handed_back", True], counted["handed_back", False]
    return told, counted


def test_random_stories_come_to_what_a_ticking_clock_counts_and_the_causes_add_up_to_the_whole() -> None:
    chance, whole = random.Random(7), 0.0
    for _ in range(60):
        told, counted = ticking(chance, 700)
        sums = minutes(found(told, at("8:00") + 700 * MINUTE))
        for cause in Cause:
            is_open, wall = sums.get(cause, (0, 0))
            assert is_open == counted[cause, True] and wall == counted[cause, True] + counted[cause, False], cause
        whole += sum(wall for _, wall in sums.values())
    print(f"FIGURE where_time_goes stories=60 minutes={whole:.0f} differing=0")
    assert whole > 20_000


def test_with_moves_taken_back_at_any_time_no_moment_is_lost_or_told_twice() -> None:
    chance, corrected = random.Random(8), 0
    for _ in range(60):
        told, now = Told(at("8:00")), at("8:00")
        moved: list[tuple[str, str]] = []
        while now < at("16:00"):
            now += timedelta(seconds=chance.choice((20, 80, 600, 3000)))
            if moved and chance.random() < 0.4:
                event, back = moved.pop()
                told.undo(event, back, now)
                corrected += 1
            else:
                kind, to = chance.choice([one for one in STEPS[told.phase] if one[1] != "handed_back"])
                came = told.phase
                moved.append((told.move(kind, to, now), came))
        those = found(told, now)
        assert those[0].start == at("8:00") and those[-1].end == now
        assert all(one.end == other.start for one, other in pairwise(those))
        assert all(one.start < one.end for one in those)
        hands = open_seconds(COUNTER, work_spans(told.events, "t", until=now, at_once=UNDO_WITHIN))
        assert minutes(those).get("bench", (0, 0))[0] * 60 == pytest.approx(hands)
    assert corrected > 200


@pytest.mark.long
def test_in_a_simulated_shop_the_number_waiting_is_the_rate_times_the_wait() -> None:
    """One technician, arrivals 2 an hour, 3 repairs an hour, always open: Lq = 4/3 (case C01)."""
    chance, devices = random.Random(1961), 6000
    came = free = 0.0
    stories, waits, edges = [], [], []
    for _ in range(devices):
        came += chance.expovariate(2)
        begins = max(came, free)
        free = begins + chance.expovariate(3)
        waits.append(begins - came)
        edges += [(came, 1), (begins, -1)]
        told = Told(DAY + timedelta(hours=came))
        told.move("work_agreed", "in_line", DAY + timedelta(hours=came))
        told.move("bench_began", "on_bench", DAY + timedelta(hours=begins))
        told.move("shelved", "on_shelf", DAY + timedelta(hours=free))
        stories.append(told.events)
    until = DAY + timedelta(hours=free)
    line = sum(
        (one.end - one.start).total_seconds() / 3600
        for story in stories
        for one in spells(story, first=DAY, until=until)
        if one.cause is Cause.LINE
    )
    waiting = area = last = 0.0
    for moment, step in sorted(edges):  # the number waiting, drawn over time, and the area below it
        area, last, waiting = area + waiting * (moment - last), moment, waiting + step
    rate, mean = devices / free, sum(waits) / devices
    assert line / free == pytest.approx(area / free, rel=1e-6) == pytest.approx(rate * mean, rel=1e-6)
    assert line / free == pytest.approx(4 / 3, abs=0.35)  # four standard errors of so long a run
    print(
        f"FIGURE littles_law devices={devices} waiting={line / free:.4f} rate_x_wait={rate * mean:.4f} textbook=1.3333"
    )


def test_every_kind_of_event_that_changes_a_cause_is_among_those_that_are_read() -> None:
    """Only TELLING is read from the database; so leaving out all the rest must change nothing."""
    changing = set[str]()
    for kind in sorted(set(OTHER_EVENTS) - MOVE_EVENTS - {"corrected", "checked_in"}):
        for first, then in (("question_asked", kind), (kind, "question_answered"), ("part_needed", kind)):
            told = Told(at("8:00"))
            for hour, one in enumerate((first, then)):
                told.note(one, at("10:00") + timedelta(hours=hour), question="q", part="p", open=1)
            bare = [event for event in told.events if event.kind != kind]
            if found(told, at("16:00")) != spells(bare, first=DAY, until=at("16:00")):
                changing.add(kind)
    assert changing | MOVE_EVENTS | {"corrected", "checked_in"} == TELLING

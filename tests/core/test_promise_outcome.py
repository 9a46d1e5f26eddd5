"""What became of promises, by the rules that were fixed before the first one was scored."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.events import Event
from notify.core.promise_outcome import AT_ONCE, LeftOut, Told, outcomes

DAY = datetime(2026, 11, 27, tzinfo=UTC)


def at(clock: str) -> datetime:
    hours, minutes = clock.split(":")
    return DAY + timedelta(hours=int(hours), minutes=int(minutes))


def story(*lines: str) -> list[Event]:
    """ "9:00 promise_made", "9:30 question_asked question=q", "10:00 corrected undoes=3": events 0, 1, 2 …"""
    made = []
    for number, line in enumerate(lines):
        clock, kind, *codes = line.split()
        pairs = dict(code.split("=") for code in codes)
        ticket = pairs.pop("ticket", "t")
        made.append(Event(str(number), kind, at(clock), "v", ticket, codes=pairs))
    return made


def told(made: str, promised: str, *, by_staff: bool = True) -> Told:
    return Told(at(made), at(promised), by_staff)


FIRST = told("9:00", "12:00")


def only(*lines: str) -> tuple[datetime | None, str]:
    (ended,) = outcomes(story("9:00 promise_made", *lines), "t", [FIRST])
    assert ended.scored
    return ended.ready_at, ended.left_out


CASES = {
    "nothing happened yet": ((), (None, "")),
    "shelved": (("11:00 shelved",), (at("11:00"), "")),
    "shelved too late": (("15:00 shelved",), (at("15:00"), "")),
    "another ticket's shelving": (("11:00 shelved ticket=other",), (None, "")),
    "a shelving taken back": (("11:00 shelved", "11:01 corrected undoes=1"), (None, "")),
    "shelved again after one taken back": (
        ("11:00 shelved", "11:01 corrected undoes=1", "13:00 shelved"), (at("13:00"), "")),
    "called back after the shelf: the first time counts": (
        ("11:00 shelved", "11:30 called_back", "16:00 shelved"), (at("11:00"), "")),
    "unrepaired": (("11:00 shelved_unrepaired",), (at("11:00"), "unrepaired")),
    "unrepaired by mistake": (
        ("11:00 shelved_unrepaired", "11:01 corrected undoes=1", "11:30 shelved"), (at("11:30"), "")),
    "a question before the time": (
        ("9:30 question_asked question=q", "9:45 question_answered question=q", "11:00 shelved"),
        (at("11:00"), "question")),
    "a question still open": (("9:30 question_asked question=q",), (None, "question")),
    "a question after the time has passed": (
        ("12:30 question_asked question=q", "13:00 question_answered question=q", "14:00 shelved"), (at("14:00"), "")),
    "a question after the device was ready": (
        ("11:00 shelved", "11:30 question_asked question=q"), (at("11:00"), "")),
    "an answer taken back reopens the question": (
        ("9:01 question_answered question=q", "9:30 answer_taken_back question=q"), (None, "question")),
    "entered later with its true time": (("13:00 place_changed", "10:30 shelved"), (at("10:30"), "")),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_became_of_a_promise_follows_from_the_story_of_its_ticket(name: str) -> None:
    lines, wanted = CASES[name]
    assert only(*lines) == wanted


def test_a_question_that_was_answered_before_the_promise_leaves_it_in_and_one_open_when_it_was_made_does_not() -> None:
    asked = "8:00 question_asked question=q"
    answered = "8:30 question_answered question=q"
    (ended,) = outcomes(story(asked, answered, "9:00 promise_made", "11:00 shelved"), "t", [FIRST])
    assert ended.left_out == ""
    late = "9:10 question_answered question=q"
    (ended,) = outcomes(story(asked, "9:00 promise_made", late, "11:00 shelved"), "t", [FIRST])
    assert ended.left_out == LeftOut.QUESTION


def test_the_first_promise_is_scored_whatever_was_promised_later() -> None:
    found = outcomes(
        story("9:00 promise_made", "11:50 promise_changed", "14:00 shelved"), "t", [FIRST, told("11:50", "15:00")]
    )
    assert [(one.scored, one.ready_at, one.left_out) for one in found] == [
        (True, at("14:00"), ""), (False, at("14:00"), ""),
    ]  # fmt: skip


@pytest.mark.parametrize(("second", "undone"), [
    (Told(FIRST.made_at + AT_ONCE, at("15:00"), True), True),
    (Told(FIRST.made_at + AT_ONCE + timedelta(seconds=1), at("15:00"), True), False),
    (Told(FIRST.made_at + AT_ONCE, at("15:00"), False), False),  # the shop's rule never slips
])  # fmt: skip
def test_a_promise_that_staff_replace_at_once_is_left_out_and_the_next_one_counts(second: Told, undone: bool) -> None:
    found = outcomes(story("9:00 promise_made", "9:15 promise_changed"), "t", [FIRST, second])
    assert [one.scored for one in found] == ([False, True] if undone else [True, False])
    assert found[0].left_out == ("undone" if undone else "")


def test_a_promise_whose_time_has_passed_cannot_be_taken_back_any_more() -> None:
    short = told("9:00", "9:10")
    found = outcomes(story("9:00 promise_made", "9:12 promise_changed"), "t", [short, told("9:12", "15:00")])
    assert [one.scored for one in found] == [True, False]


def test_a_promise_made_after_a_call_back_looks_only_at_what_came_after_it() -> None:
    lines = ("9:00 promise_made", "10:00 shelved", "11:00 called_back", "11:05 promise_changed")
    found = outcomes(story(*lines), "t", [FIRST, told("11:05", "16:00")])
    assert [one.ready_at for one in found] == [at("10:00"), None]
    # The second is just being made: its own event is not written yet.
    found = outcomes(story(*lines[:3]), "t", [FIRST, told("11:05", "16:00")])
    assert [one.ready_at for one in found] == [at("10:00"), None]


def test_a_question_of_the_very_instant_of_promising_or_of_the_promised_time_leaves_nothing_out() -> None:
    """Open before the promised time and after it was made: at the ends of that span no time has passed."""
    asked, answered = "8:00 question_asked question=q", "9:00 question_answered question=q"
    (ended,) = outcomes(story(asked, answered, "9:00 promise_made", "11:00 shelved"), "t", [FIRST])
    assert ended.left_out == ""
    assert only("12:00 question_asked question=q") == (None, "")
    assert only("11:00 question_asked question=q", "11:00 shelved") == (at("11:00"), "")

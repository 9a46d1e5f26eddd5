"""How far a clock is believed: looks written down by hand, judged by the rule's prose at the head of core/clock_trail.

The figures (three days, seventy, six hours, five minutes) are the program's own choice; there is no source for them.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.clock_trail import Trail, doubt, look

START = datetime(2026, 6, 1, 9, tzinfo=UTC)
DAY, HOUR, MINUTE, SECOND = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1), timedelta(seconds=1)
OFF = None  # the machine was started since the last look
Look = tuple[timedelta, timedelta | None, bool]  # time by the clock since START, time by the machine's count, worked


def after(*looks: Look) -> str:
    """Why the clock is not believed after these looks, the first of which was at START."""
    trail, now = look(None, START, ran=OFF), START
    for since, ran, worked in looks:
        now = START + since
        trail = look(trail, now, ran=ran, worked=worked)
    return doubt(trail, now)


STORIES: dict[str, tuple[tuple[Look, ...], str]] = {
    "a minute later": (((MINUTE, MINUTE, False),), ""),
    "a long weekend, switched off": (((3 * DAY, OFF, False),), ""),
    "a second more than a long weekend": (((3 * DAY + SECOND, OFF, False),), "unproved"),
    "ten days by both clocks": (((10 * DAY, 10 * DAY, False),), ""),
    "ten days by the wall, a minute by the machine": (((10 * DAY, MINUTE, False),), "refuted"),
    "refuted, however long it then runs and whoever works": (
        ((10 * DAY, MINUTE, False), (10 * DAY + 9 * HOUR, 9 * HOUR, True)), "refuted"),
    "holidays, then six hours and a working day": (
        ((20 * DAY, OFF, False), (20 * DAY + 6 * HOUR, 6 * HOUR, True)), ""),
    "holidays, then six hours in two parts": (
        ((20 * DAY, OFF, False), (20 * DAY + 3 * HOUR, 3 * HOUR, True), (20 * DAY + 6 * HOUR, 3 * HOUR, True)), ""),
    "holidays, then not quite six hours": (
        ((20 * DAY, OFF, False), (20 * DAY + 6 * HOUR - SECOND, 6 * HOUR - SECOND, True)), "unproved"),
    "holidays, then six hours and nobody worked": (
        ((20 * DAY, OFF, False), (20 * DAY + 6 * HOUR, 6 * HOUR, False)), "unproved"),
    "the longest holidays": (((70 * DAY, OFF, False), (70 * DAY + 6 * HOUR, 6 * HOUR, True)), ""),
    "longer than any holidays": (
        ((70 * DAY + SECOND, OFF, False), (70 * DAY + 6 * HOUR, 6 * HOUR, True)), "refuted"),
    "back by five minutes": (((DAY, DAY, False), (DAY - 5 * MINUTE, MINUTE, False)), ""),
    "back by more": (((DAY, DAY, False), (DAY - 5 * MINUTE - SECOND, MINUTE, False)), "back"),
    "back, and then right again": (
        ((DAY, DAY, False), (-DAY, MINUTE, False), (DAY + 2 * MINUTE, MINUTE, False)), ""),
    "leapt, and then right again": (((10 * DAY, MINUTE, False), (2 * MINUTE, MINUTE, False)), ""),
    "refuted, back and forth again": (
        ((10 * DAY, MINUTE, False), (-DAY, MINUTE, False), (10 * DAY + MINUTE, OFF, False)), "refuted"),
}  # fmt: skip


@pytest.mark.parametrize("story", STORIES)
def test_a_clock_is_believed_as_far_as_the_machine_and_the_people_bear_it_out(story: str) -> None:
    looks, wanted = STORIES[story]
    assert after(*looks) == wanted


def test_a_clock_is_judged_between_two_looks_too_and_not_before_the_first() -> None:
    trail = look(None, START, ran=OFF)
    assert doubt(None, START + 900 * DAY) == ""
    assert doubt(trail, START + 3 * DAY) == "" and doubt(trail, START + 3 * DAY + SECOND) == "unproved"


def test_a_person_who_says_that_it_is_right_ends_every_doubt() -> None:
    assert doubt(Trail(START + 900 * DAY), START + 900 * DAY) == ""

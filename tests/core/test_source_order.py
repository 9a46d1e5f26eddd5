"""What a source says never overrides what staff did later: every case of the rule, from the sentence that states it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import product

import pytest

from notify.core.source_order import Act, Said, Weight, is_older, weigh

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
# The rule in words (the project's own; at the head of core/source_order): a word that is not new says nothing.
# A new one counts against what was done here before it. With a time of its own "before" is before that time; without
# one it is before the source was last looked at, and everything is later for a source that never was.
WORDS = {"new": Said("b"), "same": Said("a"), "none": Said("")}
TOLD = {"before": NOON - HOUR, "at": NOON, "after": NOON + HOUR, "none": None}
SEEN = {"before": NOON - HOUR, "after": NOON + HOUR, "never": None}
WHO = ("staff", "this source", "checked in")


def expected(word: str, told: str, seen: str, who: str, written_late: bool) -> Weight:
    """The sentence, case by case; `written_late`: what was done at noon was entered here two hours later."""
    if word != "new":
        return Weight.NOTHING_NEW
    if who == "this source":
        return Weight.COUNTS
    if told != "none":
        return Weight.OURS_IS_LATER if told == "before" else Weight.COUNTS
    if who == "checked in":
        return Weight.COUNTS
    looked_after = seen == "after" and not written_late
    return Weight.COUNTS if looked_after else Weight.OURS_IS_LATER


def test_a_word_counts_only_when_it_is_new_and_only_against_what_was_done_before_it() -> None:
    wrong = tried = 0
    for word, told, seen, who, late in product(WORDS, TOLD, SEEN, WHO, (False, True)):
        written = NOON + 2 * HOUR if late else NOON
        act = Act(NOON, written, by_source=who == "this source", checked_in=who == "checked in")
        new = Said(WORDS[word].word, TOLD[told])
        tried += 1
        wrong += weigh(new, Said("a"), act, seen_before=SEEN[seen]) is not expected(word, told, seen, who, late)
    print(f"FIGURE source_order cases={tried} wrong={wrong}")
    assert (tried, wrong) == (216, 0)


def test_the_first_word_of_a_source_is_new() -> None:
    assert weigh(Said("a"), None, Act(NOON, NOON), seen_before=NOON + HOUR) is Weight.COUNTS


@pytest.mark.parametrize(("new", "known", "older"), [
    (Said("", None, "9"), Said("", None, "10"), True),  # numbers as numbers
    (Said("", None, "10"), Said("", None, "9"), False),
    (Said("", None, "b9"), Said("", None, "b10"), False),  # else as text
    (Said("", None, "7"), Said("", None, "7"), False),
    (Said("", None, "007"), Said("", None, "7"), False),  # the same number
    (Said("", NOON, "8"), Said("", NOON + HOUR, "7"), False),  # the version tells more than the time
    (Said("", NOON, "7"), Said("", NOON + HOUR, "7"), True),
    (Said("", NOON), Said("", NOON + HOUR), True),
    (Said("", NOON), Said("", NOON), False),
    (Said("", None), Said("", NOON), False),
    (Said("", NOON, "1"), Said("", None, ""), False),
])  # fmt: skip
def test_older_is_told_by_version_first_then_by_time(new: Said, known: Said, older: bool) -> None:
    assert is_older(new, known) is older


def test_what_was_entered_at_the_moment_of_a_look_counts_as_later() -> None:
    # Nobody can know which was first: rather a person is asked than that something of theirs is undone.
    act = Act(NOON - HOUR, NOON)
    assert weigh(Said("b"), Said("a"), act, seen_before=NOON) is Weight.OURS_IS_LATER
    told = Said("b", NOON - HOUR)  # with a time of its own, which is that of what was done: the word counts
    assert weigh(told, Said("a"), act, seen_before=NOON) is Weight.COUNTS

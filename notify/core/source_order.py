"""Whether what a source tells is new, and whether it counts against what was done here: pure rules.

A source may tell late, twice and out of order, and people here go on working meanwhile. So three questions are asked,
in this order, of everything that it says about a phase:

1. Is it older than what the source itself told before? By version if both have one, else by time. Then it is stale.
2. Is the word itself another one than last time? A row that only repeats its word says nothing new about the phase.
3. Did somebody here do something later? With a time of its own the word is later than every act before that time.
   Without one it may have been said at any moment since the source was last looked at, so that whatever was entered
   here since then is taken to be later; and all of it when the source was never looked at before.

These rules are the project's own; they follow from one sentence: a source never overrides what staff did later.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

_NUMBER = re.compile(r"[0-9]{1,60}")


class Weight(StrEnum):
    """What a word of a source about a phase is worth."""

    NOTHING_NEW = "nothing_new"
    COUNTS = "counts"
    OURS_IS_LATER = "ours_is_later"


@dataclass(frozen=True, slots=True)
class Said:
    """What a source said of one thing: `word` names its word for the phase ("" for none), with its time and version."""

    word: str
    told_at: datetime | None = None
    version: str = ""


@dataclass(frozen=True, slots=True)
class Act:
    """The newest thing that was done to a ticket's phase here: when it happened, when it was entered, and by whom.

    `by_source`: by this very source, whose newer word always counts against its own older one. `checked_in`: nothing
    was done since the device was taken in.
    """

    at: datetime
    recorded_at: datetime
    by_source: bool = False
    checked_in: bool = False


def is_older(new: Said, known: Said) -> bool:
    """Whether `new` is older than what the same source told before. Neither version nor time on both: no."""
    if new.version and known.version and new.version != known.version:
        return _rank(new.version, known.version) < 0
    if new.told_at is not None and known.told_at is not None:
        return new.told_at < known.told_at
    return False


def _rank(one: str, other: str) -> int:
    """-1, 0 or 1: as numbers if both are whole numbers, else as text."""
    if _NUMBER.fullmatch(one) and _NUMBER.fullmatch(other):
        return (int(one) > int(other)) - (int(one) < int(other))
    return (one > other) - (one < other)


def weigh(new: Said, known: Said | None, act: Act, *, seen_before: datetime | None) -> Weight:
    """What the word is worth against the newest act here. `known` is what was last taken from the source, if anything.

    `seen_before` is when the source was last looked at before it said this.
    """
    if not new.word or (known is not None and new.word == known.word):
        return Weight.NOTHING_NEW
    return Weight.OURS_IS_LATER if _is_later(act, new.told_at, seen_before) else Weight.COUNTS


def _is_later(act: Act, told_at: datetime | None, seen_before: datetime | None) -> bool:
    if act.by_source:
        return False
    if told_at is not None:
        return act.at > told_at
    # Whoever knows the ticket knows that it was taken in.
    return not act.checked_in and (seen_before is None or act.recorded_at >= seen_before)

"""Sources: what they are about, what a person may have to decide of what they tell, and what is known of a change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from notify.core.errors import Unavailable

ABOUT = ("tickets", "deliveries")


class Doubt(StrEnum):
    """Why a change of a source waits for a person."""

    UNKNOWN_WORD = "unknown_word"  # no setting and nobody here says what its word means
    IMPOSSIBLE_MOVE = "impossible_move"  # the ticket cannot go there from where it is
    UNKNOWN_TICKET = "unknown_ticket"  # it speaks of a ticket that is not here, and not enough to take it in
    STAFF_SAID_OTHERWISE = "staff_said_otherwise"  # somebody here did something later, or while it was not looked at
    NEEDS_A_PERSON = "needs_a_person"  # only people do this: hand back, close as never collected
    UNREADABLE = "unreadable"  # a cell cannot be understood, such as a time or an amount
    UNKNOWN_PART = "unknown_part"  # it speaks of a part that nobody waits for


class Trouble(StrEnum):
    """Why a source cannot be read now."""

    UNREACHABLE = "unreachable"
    REFUSED = "refused"  # it lets us not in, or not read
    SLOW = "slow"
    WRONG_ANSWER = "wrong_answer"  # what it gives is not what the settings say
    TOO_LARGE = "too_large"
    MISSING = "missing"  # the folder, file or table is not there


class SourceTrouble(Unavailable):
    """A source cannot be read now; `trouble` says of which sort. Neither text holds what the source told or a name."""

    def __init__(self, trouble: Trouble, what: str, advice: str) -> None:
        super().__init__(what, advice)
        self.trouble = trouble


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that a source tells: `line` of its file or batch (from 1), cells by our words (config/table.COLUMNS).

    Words for phases and parts are still the source's. `key` names what it speaks of where the cells alone do not.
    """

    line: int
    cells: Mapping[str, str] = field(repr=False)
    key: str = ""


@dataclass(frozen=True, slots=True)
class Batch:
    """Where changes come from: the source, its words with what they mean here (casefolded -> ours), its zone.

    `digest` names the whole batch where it is a thing that may come twice, such as a file or a call; else "".
    `seen_before` is when this source was last looked at without trouble: a change without a time of its own happened
    after that.
    """

    source: str
    about: str
    zone: str
    phase_words: Mapping[str, str]
    part_words: Mapping[str, str]
    digest: str = ""
    seen_before: datetime | None = None


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of a batch, by line: taken, nothing new, older than what was known, doubted with the reason in words.

    `known`: this very batch was taken before. `would` says in words what each taken line changes, for a trial.
    """

    taken: tuple[int, ...] = ()
    unchanged: tuple[int, ...] = ()
    stale: tuple[int, ...] = ()
    doubted: tuple[tuple[int, Doubt, str], ...] = ()
    known: bool = False
    would: tuple[tuple[int, str], ...] = ()

    def __add__(self, other: Taken) -> Taken:
        """Both together, for a batch that is taken in turns."""
        return Taken(
            self.taken + other.taken, self.unchanged + other.unchanged, self.stale + other.stale,
            self.doubted + other.doubted, self.known or other.known, self.would + other.would,
        )  # fmt: skip

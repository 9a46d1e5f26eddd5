"""Where the time goes while a device is with us: told from its story, each moment under one cause.

The rules, fixed before anything was counted:

- every moment from taking in until giving back has one cause, so that the causes add up to the whole;
- before the bench an open question comes first, then a missing part, then the line, as in `tickets.waiting_on`;
- on the bench an open question stops the work, a missing part does not: whoever began anyway works
  (the same as in core/hands_on);
- a move that was taken back at once never was. Between a move and its late correction nobody knows what was done.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import pairwise

from notify.core.events import Event
from notify.core.hands_on import Span, corrected_late, waiting_for_answer
from notify.core.tickets import MOVE_EVENTS, UNDO_WITHIN, Phase


class Cause(StrEnum):
    """What a device's time goes into; those that wait come first."""

    PART = "part"
    CUSTOMER = "customer"
    LINE = "line"  # for the bench
    INSPECTING = "inspecting"
    BENCH = "bench"  # hands are on it
    PROVING = "proving"
    SHELF = "shelf"  # ready, until it is collected
    UNCLEAR = "unclear"  # between a move and its late correction


WAITING = (Cause.PART, Cause.CUSTOMER, Cause.LINE)
# Every kind of event that moves a device from one cause to another.
TELLING = MOVE_EVENTS | {
    "checked_in", "corrected", "question_asked", "answer_taken_back", "question_answered", "question_withdrawn",
    "question_expired", "part_needed", "part_arrived", "part_not_needed", "part_dead", "part_wrong",
    "part_arrival_undone",
}  # fmt: skip
_BEFORE_THE_BENCH = frozenset({Phase.TAKEN_IN, Phase.INSPECTING, Phase.IN_LINE})
_PLAIN = {
    Phase.TAKEN_IN: Cause.LINE, Phase.INSPECTING: Cause.INSPECTING, Phase.IN_LINE: Cause.LINE,
    Phase.ON_BENCH: Cause.BENCH, Phase.PROVING: Cause.PROVING, Phase.ON_SHELF: Cause.SHELF,
}  # fmt: skip
_PART_HERE = frozenset({"part_arrived", "part_not_needed", "part_dead", "part_wrong"})
_PART_MISSING = frozenset({"part_needed", "part_arrival_undone"})


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time under one cause."""

    cause: Cause
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds under one cause, in the shop's opening hours and by any clock."""

    open: float = 0.0
    wall: float = 0.0

    def __add__(self, other: Spent) -> Spent:
        return Spent(self.open + other.open, self.wall + other.wall)


def spells(story: Sequence[Event], *, first: datetime, until: datetime) -> tuple[Spell, ...]:
    """The stretches between two instants in which one device was with us, in order and without a gap between them.

    `story` holds its own events alone, in the order of recording, and begins with its taking in. Time in its owner's
    hands is left out.
    """
    known = _in_order(story)
    asked, missing = tuple(waiting_for_answer(known, until)), tuple(_without_part(known, until))
    unclear = tuple(corrected_late(known, UNDO_WITHIN))
    found: list[Spell] = []
    for phase, start, end in _phases(known, until):
        for piece in _pieces(max(start, first), min(end, until), (*asked, *missing, *unclear)):
            cause = _cause(phase, *(_is_in(piece[0], gaps) for gaps in (asked, missing, unclear)))
            if cause is not None:
                _put(found, Spell(cause, *piece))
    return tuple(found)


def add_up(found: Iterable[Spell], open_before: Mapping[datetime, float]) -> dict[Cause, Spent]:
    """Seconds of each cause; `open_before` gives the open seconds before each end of a spell (core/open_time)."""
    sums: dict[Cause, Spent] = {}
    for one in found:
        spent = Spent(open_before[one.end] - open_before[one.start], (one.end - one.start).total_seconds())
        sums[one.cause] = sums.get(one.cause, Spent()) + spent
    return sums


def _in_order(story: Sequence[Event]) -> tuple[Event, ...]:
    """The same story with instants that never go back, whatever a clock did meanwhile."""
    found: list[Event] = []
    for event in story:
        late = bool(found) and event.at < found[-1].at
        found.append(_at(event, found[-1].at) if late else event)
    return tuple(found)


def _at(event: Event, at: datetime) -> Event:
    return Event(event.id, event.kind, at, event.visit_id, event.ticket_id, codes=event.codes)


def _phases(story: Sequence[Event], until: datetime) -> Iterator[tuple[Phase, datetime, datetime]]:
    """Where it stood from when to when, without moves that were taken back."""
    undone = {event.codes.get("undoes") for event in story if event.kind == "corrected"}
    phase, since = Phase.TAKEN_IN, story[0].at if story else until
    for event in story:
        if event.kind in MOVE_EVENTS and event.id not in undone:
            yield phase, since, event.at
            phase, since = Phase(str(event.codes["to"])), event.at
    yield phase, since, until


def _without_part(story: Sequence[Event], until: datetime) -> Iterator[Span]:
    """While each part was missing."""
    needed: dict[object, datetime] = {}
    for event in story:
        part = event.codes.get("part")
        if event.kind in _PART_MISSING:
            needed.setdefault(part, event.at)
        elif event.kind in _PART_HERE and part in needed:
            yield needed.pop(part), event.at
    yield from ((since, until) for since in needed.values())


def _pieces(start: datetime, end: datetime, gaps: Iterable[Span]) -> Iterator[Span]:
    """The span cut wherever one of the gaps begins or ends."""
    edges = sorted({start, end, *(edge for gap in gaps for edge in gap if start < edge < end)})
    if start < end:
        yield from pairwise(edges)


def _is_in(moment: datetime, gaps: Iterable[Span]) -> bool:
    return any(start <= moment < end for start, end in gaps)


def _cause(phase: Phase, asked: bool, missing: bool, unclear: bool) -> Cause | None:
    if unclear:
        return Cause.UNCLEAR
    if asked and (phase in _BEFORE_THE_BENCH or phase is Phase.ON_BENCH):
        return Cause.CUSTOMER
    if missing and phase in _BEFORE_THE_BENCH:
        return Cause.PART
    return _PLAIN.get(phase)


def _put(found: list[Spell], spell: Spell) -> None:
    """Adds a spell, as one with the last where both are of one cause and touch."""
    if found and found[-1].cause is spell.cause and found[-1].end == spell.start:
        spell = Spell(spell.cause, found.pop().start, spell.end)
    found.append(spell)

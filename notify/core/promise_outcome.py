"""What became of a promise, told from its ticket's story; which promise of a ticket is scored, and which are left out.

The rules, fixed before anything was scored:

- the first promise of a ticket is scored, whatever was promised later; one that staff replaced at once (`AT_ONCE`) was
  a slip of the finger, and the next one counts as the first;
- a device is ready when it first comes to the shelf after the promise, also if it is called back later; a shelving that
  was taken back never was;
- left out are promises during which a question to the customer was open (nobody here keeps those), and devices that
  come to the shelf unrepaired.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

from notify.core.events import Event
from notify.core.hands_on import waiting_for_answer

AT_ONCE = timedelta(minutes=15)
_TOLD = frozenset({"promise_made", "promise_changed"})
_SHELVED = frozenset({"shelved", "shelved_unrepaired"})


class LeftOut(StrEnum):
    """Why a promise is not scored."""

    QUESTION = "question"  # the customer was asked something before the promised time
    UNREPAIRED = "unrepaired"  # the device came to the shelf without a repair
    UNDONE = "undone"  # staff named another time at once


@dataclass(frozen=True, slots=True)
class Told:
    """A time that was told: when, for when, and whether a person of the staff did it."""

    made_at: datetime
    promise_at: datetime
    by_staff: bool


@dataclass(frozen=True, slots=True)
class Ended:
    """What became of it: when the device was ready (None: not yet), why it is left out ("": it is not)."""

    scored: bool
    ready_at: datetime | None
    left_out: str


def outcomes(story: Sequence[Event], ticket_id: str, told: Sequence[Told]) -> tuple[Ended, ...]:
    """What became of each promise of a ticket, `told` in their order; `story` in the order of recording."""
    mine = [event for event in story if event.ticket_id == ticket_id]
    taken_back = _taken_back(told)
    first = next((at for at in range(len(told)) if at not in taken_back), None)
    return tuple(
        _ended(mine, one, since, scored=at == first, undone=at in taken_back)
        for at, (one, since) in enumerate(zip(told, _since(mine, len(told)), strict=True))
    )


def _taken_back(told: Sequence[Told]) -> frozenset[int]:
    """Those that staff replaced at once, and before their time: a broken promise cannot be taken back."""
    return frozenset(
        at
        for at, (one, after) in enumerate(pairwise(told))
        if after.by_staff and after.made_at - one.made_at <= AT_ONCE and after.made_at < one.promise_at
    )


def _since(mine: Sequence[Event], promises: int) -> Iterator[int]:
    """Where in the story each promise stands; one that is being made stands at its end."""
    places = [at for at, event in enumerate(mine) if event.kind in _TOLD]
    yield from (*places[:promises], *[len(mine)] * (promises - len(places)))


def _ended(mine: Sequence[Event], told: Told, since: int, *, scored: bool, undone: bool) -> Ended:
    shelved = _first_shelving(mine, since)
    ready_at = shelved.at if shelved else None
    if undone:
        return Ended(False, ready_at, LeftOut.UNDONE)
    if shelved is not None and shelved.kind == "shelved_unrepaired":
        return Ended(scored, ready_at, LeftOut.UNREPAIRED)
    until = told.promise_at if ready_at is None else min(told.promise_at, ready_at)
    asked = any(start < until and end > told.made_at for start, end in waiting_for_answer(mine, until))
    return Ended(scored, ready_at, LeftOut.QUESTION if asked else "")


def _first_shelving(mine: Sequence[Event], since: int) -> Event | None:
    undone = {event.codes.get("undoes") for event in mine if event.kind == "corrected"}
    return next((event for event in mine[since:] if event.kind in _SHELVED and event.id not in undone), None)

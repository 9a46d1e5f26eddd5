"""Parts that a ticket waits for: their states, moves, and which of them are missing."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from enum import StrEnum

from notify.core.errors import NotAllowed


class PartState(StrEnum):
    """Where a part stands."""

    NEEDED = "needed"  # missing, not ordered yet
    ORDERED = "ordered"  # on its way
    ARRIVED = "arrived"  # here
    DEAD = "dead"  # here, but does not work
    NOT_NEEDED = "not_needed"  # no longer wanted


MOVES: dict[PartState, frozenset[PartState]] = {
    PartState.NEEDED: frozenset({PartState.ORDERED, PartState.ARRIVED, PartState.NOT_NEEDED}),
    PartState.ORDERED: frozenset({PartState.ARRIVED, PartState.NOT_NEEDED}),
    PartState.ARRIVED: frozenset({PartState.DEAD, PartState.NOT_NEEDED}),
    PartState.DEAD: frozenset(),
    PartState.NOT_NEEDED: frozenset(),
}
MISSING = frozenset({PartState.NEEDED, PartState.ORDERED})


def check_move(source: str, target: PartState) -> None:
    """Raises NotAllowed, naming what is allowed, unless a part may go from `source` to `target`."""
    allowed = MOVES[PartState(source)]
    if target not in allowed:
        names = ", ".join(sorted(allowed)) or "nothing more; note a new part instead"
        raise NotAllowed(f"A part that is {source} cannot become {target}", f"From here it can become: {names}.")


def count_missing(states: Iterable[str]) -> int:
    """How many parts are still missing."""
    return sum(1 for state in states if state in MISSING)


def is_late(state: str, due_at: datetime | None, *, now: datetime) -> bool:
    """Whether an ordered part should have been here by now."""
    return state == PartState.ORDERED and due_at is not None and due_at < now

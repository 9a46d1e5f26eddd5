"""Parts that a ticket waits for: their states, moves, and which of them are missing or have to go back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from enum import StrEnum

from notify.core.errors import Conflict


class PartState(StrEnum):
    """Where a part stands."""

    NEEDED = "needed"  # missing, not ordered yet
    ORDERED = "ordered"  # on its way
    ARRIVED = "arrived"  # here
    DEAD = "dead"  # here, but does not work
    WRONG = "wrong"  # here, but another one than was ordered
    SENT_BACK = "sent_back"  # gone back to its supplier
    NOT_NEEDED = "not_needed"  # no longer wanted; goes back as well, if it is here


# ARRIVED -> ORDERED or NEEDED is a mistake taken back, WRONG -> ARRIVED the customer's yes, and ARRIVED -> WRONG that
# yes taken back. NOT_NEEDED -> NEEDED: the one in whose place another one was taken is wanted after all.
MOVES: dict[PartState, frozenset[PartState]] = {
    PartState.NEEDED: frozenset({PartState.ORDERED, PartState.ARRIVED, PartState.WRONG, PartState.NOT_NEEDED}),
    PartState.ORDERED: frozenset({PartState.ARRIVED, PartState.WRONG, PartState.NEEDED, PartState.NOT_NEEDED}),
    PartState.ARRIVED: frozenset(
        {PartState.DEAD, PartState.WRONG, PartState.NOT_NEEDED, PartState.ORDERED, PartState.NEEDED}
    ),
    PartState.DEAD: frozenset({PartState.SENT_BACK}),
    PartState.WRONG: frozenset({PartState.ARRIVED, PartState.SENT_BACK}),
    PartState.SENT_BACK: frozenset(),
    PartState.NOT_NEEDED: frozenset({PartState.SENT_BACK, PartState.NEEDED}),
}
MISSING = frozenset({PartState.NEEDED, PartState.ORDERED})
ENDED = frozenset({PartState.DEAD, PartState.WRONG, PartState.SENT_BACK, PartState.NOT_NEEDED})
# So long an arrival that was booked in by mistake can be taken back. Common practice, no source: long enough to look
# into the box again, short enough that nobody works by it yet.
UNDO_ARRIVAL = timedelta(minutes=15)
MOST_AT_ONCE = 20  # pieces of one part noted in one step


def check_move(source: str, target: PartState) -> None:
    """Raises Conflict, naming what is allowed, unless a part may go from `source` to `target`."""
    allowed = MOVES[PartState(source)]
    if target not in allowed:
        names = ", ".join(sorted(allowed)) or "nothing more; note a new part instead"
        raise Conflict(f"A part that is {source} cannot become {target}", f"From here it can become: {names}.")


def check_undo(arrived_at: datetime | None, *, now: datetime) -> None:
    """Raises Conflict once an arrival stands for good."""
    if arrived_at is None or now - arrived_at > UNDO_ARRIVAL:
        minutes = int(UNDO_ARRIVAL.total_seconds() // 60)
        raise Conflict(
            f"This part was booked in more than {minutes} minutes ago",
            "If it is not here, note that it is faulty or not needed, or note a new part.",
        )


def count_missing(states: Iterable[str]) -> int:
    """How many parts are still missing."""
    return sum(1 for state in states if state in MISSING)


def is_late(state: str, due_at: datetime | None, *, now: datetime) -> bool:
    """Whether an ordered part should have been here by now."""
    return state == PartState.ORDERED and due_at is not None and due_at < now


def goes_back(state: str, arrived_at: datetime | None) -> bool:
    """Whether a part lies here that has to go back to its supplier."""
    return state in (PartState.DEAD, PartState.WRONG) or (state == PartState.NOT_NEEDED and arrived_at is not None)


def same_code(text: str) -> str:
    """An article, order number or packing slip as it is compared: scanners and people differ in case and spaces."""
    return "".join(text.split()).casefold()


# Word stems by which a part's name says that it is a battery, in the three languages of the texts.
_BATTERY = ("batter", "akku", "accu", "li-ion", "lipo")


def is_battery(name: str) -> bool:
    """Whether a part's name says that it is a battery."""
    return any(stem in name.casefold() for stem in _BATTERY)


def is_never_posted(name: str, state: str, safety: Iterable[str]) -> bool:
    """Whether a part that goes back must not be posted: a battery that is faulty, or out of a device with a warning.

    Damaged or defective lithium batteries travel by road only in packings of their own (ADR special provision 376,
    packing instruction P908) and not at all by air (IATA, special provision A154). From memory, not looked up.
    """
    return is_battery(name) and (state == PartState.DEAD or any(True for _ in safety))

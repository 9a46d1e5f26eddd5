"""Which of several waiting tickets a part goes to that would fit each of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

# A difference of chances that is worth a device's turn: below it the earlier promise decides. An assumption, not data.
WORTH = 0.05
_LATEST = datetime.max.replace(tzinfo=UTC)


class Why(StrEnum):
    """What decided for a ticket."""

    PROMISE = "promise"  # its promise can be kept with the part and hardly without
    EARLIER = "earlier"  # its promise is the earlier one
    LONGER = "longer"  # it has waited longer
    OVER = "over"  # nobody waits for the other one any more
    CHOSEN = "chosen"  # staff chose it


@dataclass(frozen=True, slots=True)
class Waiting:
    """A part on the list, and what hangs on it.

    `without` is the chance that the ticket's promise is kept if the part comes when its own order says, `with_it` if
    it were here now; both 0 without a promise. `since`: when it was noted as needed. `wanted`: the repair goes on, so
    that somebody still waits for it.
    """

    part_id: str
    ticket_id: str
    promise_at: datetime | None
    since: datetime
    without: float = 0.0
    with_it: float = 0.0
    wanted: bool = True

    @property
    def saves(self) -> float:
        """How much likelier its promise gets by this part."""
        return max(0.0, self.with_it - self.without) if self.promise_at is not None else 0.0


def by_need(waiting: Iterable[Waiting]) -> tuple[Waiting, ...]:
    """Whoever needs the part most first: by how much it saves of a promise, then the earliest promise, then the
    longest wait. Chances that lie within WORTH of each other count as one.
    """
    return tuple(sorted(waiting, key=lambda one: (not one.wanted, -_worth(one), *_rest(one))))


def _worth(one: Waiting) -> int:
    return int(one.saves / WORTH + 0.5)


def _rest(one: Waiting) -> tuple[datetime, datetime, str]:
    return one.promise_at or _LATEST, one.since, one.part_id


def why(chosen: Waiting, other: Waiting) -> Why:
    """What decided for `chosen` against `other`."""
    if not other.wanted:
        return Why.OVER
    if _worth(chosen) > _worth(other):
        return Why.PROMISE
    if (chosen.promise_at or _LATEST) < (other.promise_at or _LATEST):
        return Why.EARLIER
    return Why.LONGER


def share_out(came: Sequence[str], waiting: Iterable[Waiting]) -> tuple[tuple[Waiting, Waiting], ...]:
    """Who gets the pieces that came, as (whoever gets one, in whose place): only where it is somebody else.

    `came` are the parts as whose the pieces were ordered; all of `waiting`, these among them, could use one. As many
    as came get one, by need. Whoever needs it most takes the place of whoever needs it least.
    """
    ranked = by_need(waiting)
    lucky, ordered = ranked[: len(came)], set(came)
    givers = [one for one in reversed(ranked[len(came) :]) if one.part_id in ordered]
    takers = [one for one in lucky if one.part_id not in ordered]
    return tuple(zip(takers, givers, strict=True))

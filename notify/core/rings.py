"""For whom the shop's own bell rings: the technician whose device it is, else the shop itself."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

# What somebody who works here chose -> the channels that ring for them. The empty choice: the shop's own are enough.
RINGS_BY: dict[str, tuple[str, ...]] = {"": (), "email": ("email",), "sms": ("sms",), "both": ("email", "sms")}


@dataclass(frozen=True, slots=True)
class Colleague:
    """Somebody of the staff as the bell sees them; `has` are the channels for which an address is kept."""

    id: str
    active: bool
    rings_by: str
    has: frozenset[str]


@dataclass(frozen=True, slots=True)
class Ring:
    """One way to ring: the address of one of the staff, or the shop's own when `staff_id` is empty."""

    channel: str
    staff_id: str = ""


def ways_of(colleague: Colleague, channels_on: Collection[str]) -> tuple[Ring, ...]:
    """How it can ring for this person today; nothing once they have left."""
    if not colleague.active:
        return ()
    chosen = RINGS_BY[colleague.rings_by]
    return tuple(Ring(one, colleague.id) for one in chosen if one in colleague.has and one in channels_on)


def rings(colleagues: Collection[Colleague], *, own: Collection[str], channels_on: Collection[str]) -> tuple[Ring, ...]:
    """The ways to ring about what belongs to these technicians; `own` are the channels of the shop itself.

    A visit whose devices lie with several people is nobody's in particular: then the shop's own ways ring.
    """
    theirs = [ways_of(one, channels_on) for one in colleagues]
    if len(theirs) == 1 and theirs[0]:
        return theirs[0]
    return tuple(Ring(channel) for channel in ("email", "sms") if channel in own and channel in channels_on)

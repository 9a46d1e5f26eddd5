"""Which bookings changed hours have hit: they stay until a person decides, and this says which ones need one.

A booking is hit when its time is outside the hours for pickups, no longer in the list of times, or one too many for
its slot, counted as when booking: whatever overlaps it. Whoever booked first stays; the later ones are too many.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.hours import Counter, spans_on
from notify.core.instants import zone
from notify.core.slots import slots_on

CLOSED, TOO_MANY, OFF_THE_LIST = "closed", "too_many", "off_the_list"


@dataclass(frozen=True, slots=True)
class Standing:
    """A booking as far as this rule looks at it; instants are UTC, `stays` a code that staff let it stand with."""

    id: str
    start: datetime
    end: datetime
    made_at: datetime
    stays: str = ""


def find_hits(counter: Counter, booked: Iterable[Standing]) -> Mapping[str, str]:
    """Booking -> why it is hit (one of the codes above), for those that are and that nobody let stand so."""
    whole = sorted(booked, key=lambda one: (one.made_at, one.id))
    counted: list[Standing] = []
    found: dict[str, str] = {}
    for one in whole:
        why = _why(counter, one, counted)
        if why and why != one.stays:
            found[one.id] = why
        if why in ("", OFF_THE_LIST, one.stays):
            counted.append(one)
    return found


def _why(counter: Counter, one: Standing, before: list[Standing]) -> str:
    day = one.start.astimezone(zone(counter.zone)).date()
    room = min((span.capacity for span in spans_on(counter, day)
                if span.start_utc <= one.start and one.end <= span.end_utc), default=0)  # fmt: skip
    if room == 0:
        return CLOSED
    if sum(1 for other in before if other.start < one.end and one.start < other.end) >= room:
        return TOO_MANY
    return "" if any(slot.start == one.start for slot in slots_on(counter, day)) else OFF_THE_LIST

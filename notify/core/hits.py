"""Which bookings changed hours have hit: they stay until a person decides, and this says which ones need one.

A booking is hit when its time is outside the hours for pickups, no longer in the list of times, or one too many for
its slot, counted as when booking: whatever overlaps it. Whoever booked first stays; the later ones are too many.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

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
    by_day: dict[date, list[Standing]] = {}
    for one in booked:
        by_day.setdefault(one.start.astimezone(zone(counter.zone)).date(), []).append(one)
    return {id_: why for day, of_it in by_day.items() for id_, why in _hits_on(counter, day, of_it)}


def _hits_on(counter: Counter, day: date, booked: list[Standing]) -> Iterator[tuple[str, str]]:
    spans, starts = spans_on(counter, day), {slot.start for slot in slots_on(counter, day)}
    counted: list[Standing] = []
    for one in sorted(booked, key=lambda one: (one.made_at, one.id)):
        room = next((s.capacity for s in spans if s.start_utc <= one.start and one.end <= s.end_utc), 0)
        same_time = sum(1 for other in counted if other.start < one.end and one.start < other.end)
        why = CLOSED if room == 0 else TOO_MANY if same_time >= room else "" if one.start in starts else OFF_THE_LIST
        if why and why != one.stays:
            yield one.id, why
        if why in ("", OFF_THE_LIST, one.stays):
            counted.append(one)

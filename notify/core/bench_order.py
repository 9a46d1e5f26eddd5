"""In which order the bench takes devices: what is in hand, what staff put first, what waits too long, then the rest.

The rest follows the standing order, if staff took one, and otherwise the promises. A ticket that came after a standing
order was taken goes before the first ticket of it that is promised later, but never before the one that is next. A
ticket without a promise counts as if it were promised a week after it came in.

Nobody waits for ever: what is two days beyond its promise goes ahead of the rest, the oldest promise first, and no
suggestion sends it back. Only finitely many tickets can be older, and later ones are promised later; so each of them
has its turn. The week and the two days: common practice, no source.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import accumulate

from notify.core.tickets import Phase

IN_HAND = (Phase.PROVING, Phase.ON_BENCH)
IN_WORK = (Phase.TAKEN_IN, Phase.INSPECTING, Phase.IN_LINE, *IN_HAND)
UNPROMISED = timedelta(days=7)
PATIENCE = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Place:
    """What the order looks at of one ticket. `number` only decides between equals."""

    ticket_id: str
    in_hand: bool
    promise_at: datetime | None
    created_at: datetime
    number: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """The order that staff took: every ticket then in line, and those of them that staff put first by hand."""

    tickets: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()


USUAL = Standing()
Key = tuple[datetime, bool, datetime, str]


def due(place: Place) -> datetime:
    """The promise, or when a ticket without one should be done."""
    return place.promise_at or place.created_at + UNPROMISED


def waits_too_long(place: Place, now: datetime) -> bool:
    """Whether nothing may be put before it any more."""
    return not place.in_hand and due(place) + PATIENCE <= now


def rank(places: Iterable[Place], standing: Standing = USUAL, *, now: datetime) -> tuple[str, ...]:
    """The identifiers in the order of the bench. Give all that are in work, then leave out what rests."""
    usual = sorted(places, key=_usual)
    in_hand = [one.ticket_id for one in usual if one.in_hand]
    in_line = {place.ticket_id for place in usual if not place.in_hand}
    by_hand = [one for one in standing.by_hand if one in in_line]
    ahead = {*in_hand, *by_hand}
    overdue = [one.ticket_id for one in usual if one.ticket_id not in ahead and waits_too_long(one, now)]
    rest = [one for one in usual if one.ticket_id not in ahead.union(overdue)]
    return (*in_hand, *by_hand, *overdue, *_merged(rest, standing.tickets))


def held(places: Iterable[Place], standing: Standing = USUAL, *, now: datetime) -> frozenset[str]:
    """The tickets that no suggestion may move, nor put others before: they stand first in `rank`."""
    firm = set(standing.by_hand)
    return frozenset(p.ticket_id for p in places if p.in_hand or p.ticket_id in firm or waits_too_long(p, now))


def put_first(order: Sequence[str], ticket_id: str, standing: Standing = USUAL) -> Standing:
    """The order in which staff put one ticket before all others in line; what they put first earlier comes next."""
    rest = tuple(one for one in order if one != ticket_id)
    return Standing((ticket_id, *rest), (ticket_id, *(one for one in standing.by_hand if one in rest)))


def _usual(place: Place) -> Key:
    return due(place), place.promise_at is None, place.created_at, place.number or place.ticket_id


def _merged(usual: Sequence[Place], standing: Sequence[str]) -> list[str]:
    """The standing tickets in their order, each of the others where it belongs. `usual` is sorted.

    Before which one that is follows from the highest key so far, which only rises: so it is looked up, not searched.
    """
    by_id = {place.ticket_id: place for place in usual}
    order = [by_id[one] for one in dict.fromkeys(standing) if one in by_id]
    if not order:
        return [place.ticket_id for place in usual]
    known = {place.ticket_id for place in order}
    highest = list(accumulate((_usual(place) for place in order[1:]), max))
    new: dict[int, list[str]] = defaultdict(list)
    for place in usual:
        if place.ticket_id not in known:
            new[1 + bisect_right(highest, _usual(place))].append(place.ticket_id)
    merged = [one for at, place in enumerate(order) for one in (*new[at], place.ticket_id)]
    return [*merged, *new[len(order)]]

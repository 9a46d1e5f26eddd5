"""How long people wait at the counter, by playing many days: booked times, late and early ones, walk-ins, no-shows.

First come, first served by several people (Kiefer and Wolfowitz 1955: keep the sorted instants at which each is free).
A closed formula would not do: with appointments Erlang's C is far too pessimistic. All times are minutes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    Matrix = np.ndarray[Any, np.dtype[np.float64]]

DAYS = 4000  # a share of .05 is then known to about .002 (one standard error)
SEED = 20261127
# Customers played for one load, so that no figures anybody types cost more than about a second of a core (measured);
# up to FEW a slot, where recommendations lie, four times as many as above.
PLAYED, FEW = 80_000, 8
FEWEST_DAYS = 60
_NEVER = 1e9  # the arrival of whoever does not come: behind everybody, in a number that adds up


@dataclass(frozen=True, slots=True)
class Handover:
    """How long one handover takes: lognormal by mean and coefficient of variation, constant when `cv` is 0.

    With `seen` those durations are drawn from instead, each as likely as the others.
    """

    mean: float
    cv: float = 0.4
    seen: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Load:
    """One counter on one day: `slots` slots of `slot_minutes` with `per_slot` people booked in each.

    A booked person comes at the slot's start plus a normal deviate of `spread` (standard deviation), never before the
    day begins, and stays away with probability `no_show`. `walk_ins` come per slot without a time (Poisson). Whoever
    waits over `limit` counts. With `starts` of 2 every second person of a slot is asked for its middle instead.
    """

    people: int
    per_slot: int
    handover: Handover
    slot_minutes: float = 15
    slots: int = 16
    spread: float = 5
    no_show: float = 0
    walk_ins: float = 0
    limit: float = 5
    starts: int = 1


@dataclass(frozen=True, slots=True)
class Waits:
    """What so many `customers` came to: the share that waited over the limit, and the mean wait."""

    over: float
    mean: float
    customers: int


def simulate(load: Load, *, days: int = DAYS, seed: int = SEED) -> Waits:
    """The waits of the booked customers (of the walk-ins, when nobody is booked). The same input, the same answer."""
    import numpy as np

    chance = np.random.default_rng(seed)
    arrivals, counted = _arrivals(load, days, chance)
    waits = _waits(arrivals, _durations(load.handover, arrivals.shape, chance), load.people)
    number = int(np.count_nonzero(counted))
    if not number:
        return Waits(0.0, 0.0, 0)
    over = np.count_nonzero((waits > load.limit + 1e-9) & counted)
    return Waits(int(over) / number, float(waits.sum(where=counted)) / number, number)


@lru_cache(maxsize=256)
def waits_of(load: Load) -> Waits:
    """`simulate`, remembered: a page and its picture ask for the same table, again and again."""
    return simulate(load, days=days_for(load))


def days_for(load: Load) -> int:
    """How many days to play: DAYS for an ordinary counter, fewer where each day holds very many customers."""
    played = PLAYED * 4 if load.per_slot <= FEW else PLAYED
    return max(FEWEST_DAYS, min(DAYS, int(played / (load.slots * (load.per_slot + load.walk_ins) + 1))))


def table(load: Load, *, most: int = 24, enough: float = 0.6, least: int = 4) -> tuple[tuple[int, Waits], ...]:
    """(customers a slot, waits) from 1 upwards, until more than `enough` of them wait and `least` rows are there."""
    return tuple(_rows(load, most, enough, least))


def _rows(load: Load, most: int, enough: float, least: int) -> Iterator[tuple[int, Waits]]:
    for number in range(1, most + 1):
        found = waits_of(replace(load, per_slot=number))
        yield number, found
        if found.over > enough and number >= least:
            return


def largest_load(load: Load, *, target: float, most: int = 24, near: int = 0) -> int:
    """The most customers a slot may hold so that at most the share `target` waits over the limit; 0 if not even one.

    It is looked for upwards from `near`, or downwards from there when that many are too many already.
    """
    found = min(near, most)
    while found and _is_too_much(load, found, target):
        found -= 1
    if found == near:
        while found < most and not _is_too_much(load, found + 1, target):
            found += 1
    return found


def _is_too_much(load: Load, number: int, target: float) -> bool:
    return waits_of(replace(load, per_slot=number)).over > target


def _arrivals(load: Load, days: int, chance: np.random.Generator) -> tuple[Matrix, Any]:
    """Arrivals sorted in time, one row a customer and one column a day, and which of them are counted."""
    import numpy as np

    booked = _booked(load, days, chance)
    if not load.walk_ins:
        booked.sort(axis=1)
        rows = np.ascontiguousarray(booked.T)
        return rows, rows < _NEVER
    whole = np.concatenate([booked, _walk_ins(load, days, chance)], axis=1)
    order = np.argsort(whole, axis=1)
    rows = np.ascontiguousarray(np.take_along_axis(whole, order, axis=1).T)
    ours = np.less(order.T, booked.shape[1]) if load.per_slot else True
    return rows, (rows < _NEVER) & ours


def _booked(load: Load, days: int, chance: np.random.Generator) -> Matrix:
    import numpy as np

    starts = np.arange(load.slots)[:, None] * load.slot_minutes
    within = (np.arange(load.per_slot) % load.starts) * (load.slot_minutes / load.starts)
    due = (starts + within).ravel()
    at = np.broadcast_to(due, (days, due.size)).copy()
    if load.spread:
        at += chance.standard_normal(at.shape) * load.spread
        np.maximum(at, 0, out=at)
    if load.no_show:
        at[chance.random(at.shape) < load.no_show] = _NEVER
    return at


def _walk_ins(load: Load, days: int, chance: np.random.Generator) -> Matrix:
    import numpy as np

    number = chance.poisson(load.walk_ins * load.slots, days)
    at = chance.random((days, int(number.max(initial=0)))) * (load.slots * load.slot_minutes)
    at[np.arange(at.shape[1]) >= number[:, None]] = _NEVER
    return at


def _durations(handover: Handover, shape: tuple[int, ...], chance: np.random.Generator) -> Matrix:
    import numpy as np

    if handover.seen:
        return np.asarray(handover.seen, dtype=np.float64)[chance.integers(len(handover.seen), size=shape)]
    if not handover.cv:
        return np.full(shape, float(handover.mean))
    sigma2 = math.log1p(handover.cv**2)
    drawn = chance.standard_normal(shape)
    drawn *= math.sqrt(sigma2)
    drawn += math.log(handover.mean) - sigma2 / 2
    return np.exp(drawn, out=drawn)


def _waits(arrivals: Matrix, durations: Matrix, people: int) -> Matrix:
    """The wait of each customer: one step a customer, all days at once; `free` stays sorted along the people."""
    import numpy as np

    free = np.zeros((people, arrivals.shape[1]))
    waits = np.empty_like(arrivals)
    done, later = np.empty(arrivals.shape[1]), np.empty(arrivals.shape[1])
    for arrival, duration, wait in zip(arrivals, durations, waits, strict=True):
        np.maximum(free[0], arrival, out=done)
        np.subtract(done, arrival, out=wait)
        done += duration
        for one in range(1, people):  # put the new instant in its place among the others
            np.maximum(done, free[one], out=later)
            np.minimum(done, free[one], out=free[one - 1])
            done, later = later, done
        free[people - 1] = done
    return waits

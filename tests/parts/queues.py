"""Second opinions on waiting lines that share no code with the product: closed formulas, and event by event."""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Callable


def mean_wait_mg1(rate: float, mean: float, square: float) -> float:
    """Pollaczek and Khinchine: the mean wait for one server, any service times with that mean and mean square."""
    return rate * square / (2 * (1 - rate * mean))


def wait_at_most_md1(rate: float, service: float, limit: float) -> float:
    """Erlang 1909: P(wait <= limit) for one server and constant service."""
    share = 0.0
    for k in range(math.floor(limit / service) + 1):
        left = rate * (k * service - limit)
        share += left**k / math.factorial(k) * math.exp(-left)
    return (1 - rate * service) * share


def over_by_events(
    *, people: int, per_slot: int, service: Callable[[random.Random], float], spread: float, slots: int = 16,
    slot_minutes: float = 15, no_show: float = 0, walk_ins: float = 0, limit: float = 5,
    days: int = 4000, seed: int = 5,
) -> float:  # fmt: skip
    """The share of booked customers that wait over the limit: a heap of arrivals and departures, a queue, one clock."""
    dice, late, seen = random.Random(seed), 0, 0
    for _ in range(days):
        events: list[tuple[float, int, str, bool]] = []
        number = 0
        for slot in range(slots):
            for _ in range(per_slot):
                number += 1
                if dice.random() >= no_show:
                    events.append((max(0.0, dice.gauss(slot * slot_minutes, spread)), number, "comes", True))
        at = dice.expovariate(walk_ins / slot_minutes) if walk_ins else math.inf
        while at < slots * slot_minutes:
            number += 1
            events.append((at, number, "comes", False))
            at += dice.expovariate(walk_ins / slot_minutes)
        heapq.heapify(events)
        queue: list[tuple[float, bool]] = []
        idle = people
        while events:
            now, _, what, booked = heapq.heappop(events)
            if what == "comes":
                queue.append((now, booked))
            else:
                idle += 1
            while idle and queue:
                came, ours = queue.pop(0)
                idle -= 1
                number += 1
                heapq.heappush(events, (now + service(dice), number, "goes", False))
                seen += ours
                late += ours and now - came > limit
    return late / seen

"""A counter without times: people come as they like (Poisson), handovers have no usual length (exponential).

Erlang's formulas (Erlang 1917; the recursion of B as in ITU-T E.501 and any textbook). They say what a counter could
serve without booked times; with booked ones they are the wrong model, and `counter` plays the days instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Line:
    """`people` serve `rate` arrivals a minute; a handover takes `minutes` on average; at `busy` 1 it only grows."""

    rate: float
    minutes: float
    people: int

    @property
    def load(self) -> float:
        """The work that arrives, in people kept busy (erlangs)."""
        return self.rate * self.minutes

    @property
    def busy(self) -> float:
        """The share of their time that the people are busy."""
        return self.load / self.people

    @property
    def has_to_wait(self) -> float:
        """The share of arrivals that find everybody busy (Erlang C); 1 when the line only ever grows."""
        if self.busy >= 1:
            return 1.0
        lost = erlang_b(self.load, self.people)
        return lost / (1 - self.busy * (1 - lost))

    @property
    def mean_wait(self) -> float:
        """Minutes waited on average, those who need not wait included; infinite when the line only grows."""
        return self.has_to_wait * self.minutes / (self.people - self.load) if self.busy < 1 else math.inf

    def over(self, limit: float) -> float:
        """The share that waits more than `limit` minutes."""
        if self.busy >= 1:
            return 1.0
        return self.has_to_wait * math.exp(-(self.people - self.load) * limit / self.minutes)

    @property
    def nobody_there(self) -> float:
        """The share of time in which the counter is empty."""
        if self.busy >= 1:
            return 0.0
        load, people = self.load, self.people
        below = sum(load**k / math.factorial(k) for k in range(people))
        return 1 / (below + load**people / math.factorial(people) / (1 - self.busy))


def erlang_b(load: float, people: int) -> float:
    """The share that would be turned away if nobody could wait; `load` in erlangs."""
    lost = 1.0
    for one in range(1, people + 1):
        lost = load * lost / (one + load * lost)
    return lost


def most_walk_ins(minutes: float, people: int, *, limit: float, target: float) -> float:
    """The arrivals a minute at which the share `target` waits over `limit`: found by halving, to 1e-9."""
    low, high = 0.0, people / minutes
    while high - low > 1e-9:
        middle = (low + high) / 2
        low, high = (middle, high) if Line(middle, minutes, people).over(limit) <= target else (low, middle)
    return low

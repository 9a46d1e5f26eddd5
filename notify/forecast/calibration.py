"""So that of 100 promises as many are kept as was meant: where ready times fell in forecasts, and the level to ask for.

A probability integral transform (PIT) is the level of a forecast at which the ready time lay; for a fair forecast it is
uniform between 0 and 1. Split conformal prediction (Vovk, Gammerman and Shafer 2005; here on the PIT) asks for the
level that so many of the newest PITs did not exceed; with at least p / (1 - p) of them it keeps the share p whatever is
wrong with the forecast, as long as its faults stay alike. The adaptive rule is that of Gibbs and Candes (2021).
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import accumulate
from statistics import NormalDist

WINDOW = 100  # the newest outcomes that count: a shop changes
LOWEST, HIGHEST = 0.5, 0.99  # of a level that is asked: beyond, a sample of a few thousand knows too little
GAMMA = 0.02  # step of the adaptive rule (measured: .05 swings more and learns little faster)
_Z = NormalDist()
_SHORTEST = 1.0  # second ahead: what is nearer has no logarithm to speak of
Point = tuple[float, float]


def pit(points: Sequence[Point], actual: float, *, chance: float) -> float:
    """Where `actual` fell in a forecast known at some quantiles, 0 to 1.

    `points` are (seconds since the forecast, level), levels rising; `actual` likewise in seconds. Between two of them
    on a line; before the first and after the last the tail goes on as that of a lognormal time through the points
    there, which a conformal level near 1 needs. Where several levels share one instant, `chance` (0 to 1) draws a
    place among them.
    """
    at = list(accumulate((when for when, _ in points), max))
    levels = [level for _, level in points]
    first, after = bisect_left(at, actual), bisect_right(at, actual)
    if after - first > 1:
        return _drawn(0.0 if first == 0 else levels[first], 1.0 if after == len(at) else levels[after - 1], chance)
    if after > first:
        return levels[first]
    if first == 0:
        return min(levels[0], _tail(at, levels, (0, min(2, len(at) - 1)), actual, _drawn(0.0, levels[0], chance)))
    if first == len(at):
        end = len(at) - 1
        return max(levels[end], _tail(at, levels, (end, max(0, end - 2)), actual, _drawn(levels[end], 1.0, chance)))
    share = (actual - at[first - 1]) / (at[first] - at[first - 1])
    return levels[first - 1] + share * (levels[first] - levels[first - 1])


def _drawn(low: float, high: float, chance: float) -> float:
    return low + chance * (high - low)


def _tail(at: Sequence[float], levels: Sequence[float], ends: tuple[int, int], actual: float, unknown: float) -> float:
    """Normal deviates of the levels on a line over the logarithm of time, through an end and a point further in.

    `unknown` where the forecast tells nothing of a tail: those two are one instant.
    """
    end, inner, now = (math.log(max(seconds, _SHORTEST)) for seconds in (at[ends[0]], at[ends[1]], actual))
    if end == inner:
        return unknown
    z_end, z_inner = (_Z.inv_cdf(levels[place]) for place in ends)
    return _Z.cdf(z_end + (now - end) * (z_end - z_inner) / (end - inner))


def conformal(pits: Iterable[float], wanted: float) -> float | None:
    """The ceil((n + 1) * wanted)-th smallest of n PITs; None when there are too few for that."""
    known = sorted(pits)
    rank = math.ceil(round((len(known) + 1) * wanted, 9))
    return known[max(1, rank) - 1] if rank <= len(known) else None


def level_to_ask(pits: Sequence[float], wanted: float) -> float:
    """The level to ask of a forecast, from the newest PITs first; `wanted` itself while they are too few."""
    found = conformal(pits[:WINDOW], wanted)
    return wanted if found is None else min(HIGHEST, max(LOWEST, found))


def adapt(allowed: float, missed: bool, *, alpha: float, gamma: float = GAMMA) -> float:
    """One step of the adaptive rule: the share of misses to allow after an outcome, when `alpha` is wanted."""
    return allowed + gamma * (alpha - missed)


def adaptive_level(pits: Sequence[float], wanted: float) -> float:
    """What the adaptive rule would ask for now, had it been used for these PITs (oldest first): a second opinion."""
    allowed = 1 - wanted
    for one in pits:
        allowed = adapt(allowed, one > 1 - allowed, alpha=1 - wanted)
    return min(HIGHEST, max(LOWEST, 1 - allowed))

"""How good promises and forecasts were: shares with their uncertainty, losses, and whether they drift."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean

EWMA_WEIGHT, EWMA_WIDTH = 0.1, 3.0  # of the newest outcome; limits in standard deviations (the usual three)
BINS = 10


@dataclass(frozen=True, slots=True)
class Tally:
    """Promises by what became of them. `kept` and `broken` add up to those that are due."""

    kept: int
    broken: int
    not_due: int

    @property
    def due(self) -> int:
        """Those whose time has passed."""
        return self.kept + self.broken


def tally(rows: Iterable[tuple[float, float | None]], now: float) -> Tally:
    """Counts (promised, ready or None) as of `now`: due when the time has passed, and broken then if not ready by it.

    Counting only what is finished would flatter: the late ones are not.
    """
    whole = list(rows)
    due = [(promised, ready) for promised, ready in whole if promised <= now]
    kept = sum(1 for promised, ready in due if ready is not None and ready <= promised)
    return Tally(kept, len(due) - kept, len(whole) - len(due))


def wilson(kept: int, of: int, *, sure: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a share (1927): between which values the true one lies. (0, 1) of nothing."""
    if not of:
        return 0.0, 1.0
    z2 = NormalDist().inv_cdf((1 + sure) / 2) ** 2
    share = kept / of
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    half = math.sqrt(z2 * (share * (1 - share) / of + z2 / (4 * of * of))) / (1 + z2 / of)
    return max(0.0, middle - half), min(1.0, middle + half)


def pinball(quantile: float, actual: float, level: float) -> float:
    """The loss of a quantile, in the unit of time: too early costs `level` of the distance, too late the rest."""
    return level * (actual - quantile) if actual > quantile else (1 - level) * (quantile - actual)


def brier(said: Sequence[tuple[float, bool]]) -> float:
    """The mean squared distance of chances from what became of them: 0 is a prophet, 0.25 always says "perhaps"."""
    return fmean((chance - happened) ** 2 for chance, happened in said)


def crps(sample: Sequence[float], actual: float) -> float:
    """How far a whole forecast was off, in its unit of time: E|X - y| - E|X - X'| / 2 (Gneiting and Raftery 2007)."""
    known, size = sorted(sample), len(sample)
    apart = 2 * sum((2 * at - size + 1) * value for at, value in enumerate(known)) / size**2
    return fmean(abs(value - actual) for value in known) - apart / 2


def ewma(values: Iterable[float], *, start: float, weight: float = EWMA_WEIGHT) -> list[float]:
    """The exponentially weighted moving average after each value (NIST/SEMATECH e-Handbook 6.3.2.4)."""
    found, at = [], start
    for value in values:
        at = weight * value + (1 - weight) * at
        found.append(at)
    return found


def ewma_limits(
    start: float, deviation: float, *, weight: float = EWMA_WEIGHT, width: float = EWMA_WIDTH
) -> tuple[float, float]:
    """Between which values that average stays while nothing has changed (same source)."""
    half = width * deviation * math.sqrt(weight / (2 - weight))
    return start - half, start + half


def histogram(shares: Iterable[float], *, bins: int = BINS) -> tuple[int, ...]:
    """How many values between 0 and 1 fall into each of as many equal bins; 1 itself into the last."""
    counts = [0] * bins
    for share in shares:
        counts[min(bins - 1, int(share * bins))] += 1
    return tuple(counts)

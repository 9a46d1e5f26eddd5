"""How much work a job still is: the durations that are known, and draws from them that belong to the job alone.

Draws are keyed by seed and name. So they stay what they are when another job comes or the order changes: two forecasts
differ because the facts do, and two orders are compared on the same luck (common random numbers).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING, Any

from notify.forecast.durations import LONGEST, Draws, longer, minutes

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Const:
    """Exactly so many seconds, to the next whole one."""

    seconds: float

    def __post_init__(self) -> None:
        _check(0 <= self.seconds < math.inf, self)


@dataclass(frozen=True, slots=True)
class LogNormal:
    """The logarithm of the minutes is normal with that mean and standard deviation; cut at `durations.LONGEST`."""

    mu: float
    sigma: float

    def __post_init__(self) -> None:
        _check(0 < self.sigma < math.inf and math.isfinite(self.mu), self)


@dataclass(frozen=True, slots=True)
class Gamma:
    """Gamma minutes; `scale` in minutes. Only for work not begun."""

    shape: float
    scale: float

    def __post_init__(self) -> None:
        _check(0 < self.shape < math.inf and 0 < self.scale < math.inf, self)


@dataclass(frozen=True, slots=True)
class Exponential:
    """Exponential minutes of that mean."""

    mean: float

    def __post_init__(self) -> None:
        _check(0 < self.mean < math.inf, self)


@dataclass(frozen=True, slots=True)
class OfKind:
    """Lognormal with the parameters drawn for that repair kind, the same ones for all its jobs on one path."""

    key: str


Duration = Const | LogNormal | Gamma | Exponential | OfKind


def dice(seed: int, what: str, key: str) -> np.random.Generator:
    """The chance of that thing alone: the same for the same seed, kind of thing and name, on every machine."""
    import numpy as np

    named = blake2b(f"{seed}\0{what}\0{key}".encode(), digest_size=16).digest()
    return np.random.Generator(np.random.SFC64(int.from_bytes(named, "little")))


def left(
    duration: Duration, spent: float, kinds: Mapping[str, Draws], *, paths: int, chance: np.random.Generator
) -> Array:
    """Seconds of work still to do after `spent` seconds, per path, given that they were not enough.

    Whole seconds, at least one: whatever is not finished takes a moment still. Raises ValueError for a kind that is
    not in `kinds`, and for a gamma duration of which some is spent.
    """
    import numpy as np

    return np.rint(np.maximum(_left(duration, spent, kinds, paths, chance), 1.0))


def _left(duration: Duration, spent: float, kinds: Mapping[str, Draws], paths: int, chance: Any) -> Array:
    import numpy as np

    match duration:
        case Const(seconds):
            return np.full(paths, seconds - spent)
        case Exponential(mean):  # it has no memory
            return np.asarray(chance.exponential(mean * 60, paths))
        case Gamma(shape, scale):
            _check(spent == 0, duration)
            return np.asarray(chance.gamma(shape, scale * 60, paths))
        case LogNormal(mu, sigma):
            return _lognormal(Draws(mu, sigma, LONGEST), spent, paths, chance)
        case OfKind(key):
            if key not in kinds:
                raise ValueError(f"no draws are there for the repair kind {key}")
            return _lognormal(kinds[key], spent, paths, chance)


def _lognormal(of: Draws, spent: float, paths: int, chance: Any) -> Array:
    if not spent:
        return minutes(of, chance.standard_normal(paths)) * 60
    return longer(of.mu, of.sigma, spent / 60, chance.random(paths), most=of.most) * 60 - spent


def _check(right: bool, duration: Duration) -> None:
    if not right:
        raise ValueError(f"{duration} cannot be drawn from here: give finite numbers that such work can have")

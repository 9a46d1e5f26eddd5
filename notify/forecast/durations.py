"""How long repairs take on the bench: parameters drawn once for each path and kind, open jobs included, and minutes.

What is believed of a kind stands in forecast/belief.py; its names are given on here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

from notify.core.past_jobs import Sums, sums_of
from notify.forecast.belief import Nig, Others, learned, posterior, prior

if TYPE_CHECKING:
    import numpy as np

    Row = np.ndarray[Any, np.dtype[np.float64]]

__all__ = [
    "Draws", "Nig", "Others", "Sums", "draw", "learned", "longer", "longest_of", "longest_of_all", "minutes",
    "posterior", "prior", "sums_of",
]  # fmt: skip
LONGEST = 16 * 60.0  # minutes; whatever is drawn beyond (or beyond ten times the usual, if that is more) is cut there
DRAWN = 2000  # parameters that are weighed where jobs are still open
SHORTEST = 0.1  # minutes; a job open for less says nothing
_NORMAL = NormalDist()
_TINY = 1e-300
_FAR = 30.0  # standard deviations from which on a tail is taken by its first asymptotic term


@dataclass(frozen=True, slots=True)
class Draws:
    """Mean and spread of log minutes, one for each path (or one number for all): drawn once per path and kind.

    All jobs of a kind on a path share them: a shop that is slow with such repairs is slow with each of them. No job is
    drawn longer than `most` minutes.
    """

    mu: Any
    sigma: Any
    most: float = math.inf


def draw(nig: Nig, *, paths: int, seed_key: tuple[int, ...], open_minutes: Sequence[float] = ()) -> Draws:
    """Parameters for so many paths, the same for the same facts; `open_minutes`: jobs of this kind not finished after
    so many minutes of work, which say that such jobs can be longer (survival, Kaplan and Meier's "right-censored").

    A slightly different belief moves each path slightly: the draws are the same, only shifted and stretched.
    """
    most = max(LONGEST, 10 * math.exp(min(nig.mu, 700.0)))
    logs = [math.log(one) for one in open_minutes if one > SHORTEST]
    if not logs:
        return Draws(*_standing(nig, paths, seed_key), most)
    near = _near(nig, logs)
    mu, sigma = _standing(near, DRAWN, seed_key)
    chosen = _resampled(_log_weights(nig, near, mu, sigma, logs), mu + sigma, paths, seed_key)
    return Draws(mu[chosen], sigma[chosen], most)


def minutes(of: Draws, normals: Row) -> Row:
    """Minutes of jobs from standard normal deviates, the paths along the last axis."""
    import numpy as np

    found: Row = np.multiply(normals, of.sigma)
    found += of.mu
    np.exp(np.minimum(found, 700.0, out=found), out=found)
    return np.minimum(found, of.most, out=found)


def longer(mu: Any, sigma: Any, spent_minutes: float, uniforms: Row, *, most: float = LONGEST) -> Row:
    """Whole minutes of a job that is not finished after `spent_minutes`, from uniform deviates: D given D > spent.

    A small deviate is a long job. What is left is cut at `most`. In the far tail, where a probability would be 0 in a
    double, by -z*z/2 (its first term), so that a job open for a year still ends.
    """
    import numpy as np

    if spent_minutes <= 0:
        z = _inverse(np.maximum(1 - uniforms, _TINY))
        return np.asarray(np.minimum(np.exp(np.minimum(mu + sigma * z, 700.0)), most))
    reached = np.broadcast_to((math.log(spent_minutes) - mu) / sigma, uniforms.shape)
    left = np.maximum(uniforms, _TINY)
    z = -_inverse(np.maximum(_survival(np.minimum(reached, _FAR)) * left, _TINY))
    far = np.sqrt(np.maximum(reached, 0.0) ** 2 - 2 * np.log(left))
    whole = np.exp(np.minimum(mu + sigma * np.where(reached > _FAR, far, z), 700.0))
    return np.asarray(np.clip(whole, spent_minutes, spent_minutes + most))


def longest_of(nig: Nig, level: float) -> float:
    """Minutes within which the next job of a kind is done with that chance: the quantile of its log Student t."""
    return longest_of_all([nig], level)[0]


def longest_of_all(nigs: Sequence[Nig], level: float) -> list[float]:
    """The same for many kinds at once, since one quantile costs as much as hundreds (a page with 500 kinds took 1.3 s
    with one after the other, measured)."""
    import numpy as np

    from notify.forecast.student_t import quantile

    if not nigs:
        return []
    middle, scale, degrees = np.array([(nig.mu, nig.scale, nig.df) for nig in nigs]).T
    found = np.exp(np.minimum(middle + scale * quantile(level, degrees), 700.0))
    return [float(one) for one in found]


def _standing(nig: Nig, paths: int, seed_key: tuple[int, ...]) -> tuple[Row, Row]:
    """(mean, spread) for each path. Gammas are dealt by fixed ranks: numpy rejects some, so their order would jump."""
    import numpy as np

    chance = np.random.default_rng(seed_key)
    normals, ranks = chance.standard_normal(paths), np.argsort(chance.random(paths))
    gammas = np.empty(paths)
    gammas[ranks] = np.sort(np.maximum(chance.standard_gamma(nig.alpha, paths), 1e-12))
    sigma = np.sqrt(nig.beta / gammas)
    return nig.mu + sigma * normals / math.sqrt(nig.kappa), sigma


def _near(nig: Nig, logs: list[float]) -> Nig:
    """A belief about where the parameters lie once open jobs count too: it is drawn from, and then weighed exactly.

    Where many jobs are open, the belief from the finished ones alone lies so far off that all weight would fall on few
    draws. EM (Dempster, Laird, Rubin 1977): what is left of an open job is put in by its expectation. It stays as wide
    as it was, since an open job tells less than a finished one.
    """
    found = nig
    for _ in range(25):
        sigma = math.sqrt(found.beta / found.alpha)
        total = squares = 0.0
        for log in logs:
            hazard = _hazard((log - found.mu) / sigma)
            total += found.mu + sigma * hazard
            squares += found.mu**2 + sigma**2 + sigma * hazard * (log + found.mu)
        found = posterior(nig, Sums(len(logs), total, squares))
    return Nig(found.mu, nig.kappa, nig.alpha, found.beta / found.alpha * nig.alpha)


def _hazard(z: float) -> float:
    """Density over survival of a standard normal."""
    if z > _FAR:
        return z
    return math.exp(-z * z / 2) / math.sqrt(2 * math.pi) / (0.5 * math.erfc(z / math.sqrt(2)))


def _log_weights(nig: Nig, near: Nig, mu: Row, sigma: Row, logs: list[float]) -> Row:
    """Log of (belief x survival of every open job) over the density drawn from, up to a constant.

    Both have the same kappa and alpha, so of their densities only the exponents differ.
    """
    import numpy as np

    weights = (_bend(near, mu) - _bend(nig, mu)) / (2 * sigma**2)
    for log in logs:
        z = (log - mu) / sigma
        tail = np.log(_survival(np.minimum(z, _FAR)))
        weights += np.where(z > _FAR, -z * z / 2 - np.log(np.maximum(z, 1.0) * math.sqrt(2 * math.pi)), tail)
    return np.asarray(weights)


def _bend(nig: Nig, mu: Row) -> Any:
    return 2 * nig.beta + nig.kappa * (mu - nig.mu) ** 2


def _resampled(log_weights: Row, order_by: Row, paths: int, seed_key: tuple[int, ...]) -> Any:
    """Which draw each path takes: as often as it weighs, in a fixed order, so that paths change little with weights."""
    import numpy as np

    order = np.argsort(order_by)
    weights = np.exp(log_weights - log_weights.max())[order]
    places = (np.arange(paths) + 0.5) / paths * weights.sum()
    taken = np.minimum(np.searchsorted(np.cumsum(weights), places), order.size - 1)
    return order[taken][np.random.default_rng((*seed_key, 1)).permutation(paths)]


def _survival(z: Row) -> Row:
    """P(Z > z) of standard normals, by the standard library's erfc (exact to a double's relative error)."""
    import numpy as np

    scaled = np.multiply(z, math.sqrt(0.5))
    return np.fromiter(map(math.erfc, scaled.ravel().tolist()), float, scaled.size).reshape(scaled.shape) * 0.5


def _inverse(shares: Row) -> Row:
    """The standard normal's quantiles, by the standard library."""
    import numpy as np

    return np.fromiter(map(_NORMAL.inv_cdf, shares.ravel().tolist()), float, shares.size).reshape(shares.shape)

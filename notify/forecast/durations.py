"""How long a repair takes on the bench: lognormal minutes, learned of each repair kind and shared between the kinds.

The logarithm of a repair's hands-on minutes is normal; what is not known of its mean and variance is normal-inverse-
gamma (Murphy 2007, "Conjugate Bayesian analysis of the Gaussian distribution"). Lognormal is the customary model of
active repair times (MIL-HDBK-338B 5.6.2). The exponential of a Student t has no mean: nothing here gives one.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any, TypeVar

from notify.core.errors import Invalid

if TYPE_CHECKING:
    import numpy as np

    Row = np.ndarray[Any, np.dtype[np.float64]]

Key = TypeVar("Key", bound=Hashable)

# A kind nobody has repaired yet: as good as two repairs that took the nominal minutes, and a spread of .5 known as from
# four. 80 of 100 are then done in 1.8 times the nominal minutes, 90 in 2.6 times. An assumption, not data.
KAPPA, ALPHA, SPREAD = 2.0, 2.0, 0.5
# What a shop's other kinds can say of one at most: its mean as from five repairs (a kind's own mean lies about .45 of
# its spread off the shop's), its spread as from ten. More of them would not make this kind better known.
KAPPA_MOST, ALPHA_MOST = 5.0, 5.0
LONGEST = 16 * 60.0  # minutes; whatever is drawn beyond (or beyond ten times the usual, if that is more) is cut there
SHORTEST_JOB, LONGEST_JOB = 0.1, 60_000.0  # minutes of a finished repair that can be meant
DRAWN = 2000  # parameters that are weighed where jobs are still open
_NORMAL = NormalDist()
_TINY = 1e-300
_FAR = 30.0  # standard deviations from which on a tail is taken by its first asymptotic term


@dataclass(frozen=True, slots=True)
class Sums:
    """What is kept of finished repairs: their number, and the sum and sum of squares of the logs of their minutes.

    One more repair changes three numbers, however many there were.
    """

    n: int = 0
    total: float = 0.0
    squares: float = 0.0

    def plus(self, minutes: float) -> Sums:
        """With one more repair; raises Invalid for minutes that no repair takes."""
        log = _log(minutes)
        return Sums(self.n + 1, self.total + log, self.squares + log * log)

    def minus(self, minutes: float) -> Sums:
        """Without a repair that was learned before: the one whose handing back was undone."""
        log = _log(minutes)
        return Sums(self.n - 1, self.total - log, self.squares - log * log) if self.n > 1 else Sums()

    @property
    def mean(self) -> float:
        """The mean logarithm; 0 of none."""
        return self.total / self.n if self.n else 0.0

    @property
    def within(self) -> float:
        """The sum of squares about the mean."""
        return max(0.0, self.squares - self.n * self.mean**2)


def sums_of(minutes: Sequence[float]) -> Sums:
    """The sums of several repairs at once; raises Invalid for minutes that no repair takes."""
    logs = [_log(one) for one in minutes]
    return Sums(len(logs), math.fsum(logs), math.fsum(log * log for log in logs))


def _log(minutes: float) -> float:
    if not SHORTEST_JOB <= minutes <= LONGEST_JOB:
        raise Invalid(
            f"A repair of {minutes:g} minutes cannot be meant",
            f"Give minutes from {SHORTEST_JOB:g} to {LONGEST_JOB:g}.",
            field="minutes",
        )
    return math.log(minutes)


@dataclass(frozen=True, slots=True)
class Nig:
    """What is believed of log minutes: variance ~ inverse gamma(alpha, beta), mean ~ normal(mu, variance / kappa)."""

    mu: float
    kappa: float
    alpha: float
    beta: float

    @property
    def df(self) -> float:
        """Degrees of freedom of the next repair's log minutes, which are Student t about `mu` with `scale`."""
        return 2 * self.alpha

    @property
    def scale(self) -> float:
        """The scale of that Student t."""
        return math.sqrt(self.beta * (self.kappa + 1) / (self.alpha * self.kappa))


@dataclass(frozen=True, slots=True)
class Others:
    """What the repairs of a shop's other kinds say of one: `mu` is the log of actual over nominal minutes.

    `weight` is how well that is known, in repairs of one kind; `within` the sum of squares about each kind's own mean,
    with `free` degrees of freedom.
    """

    weight: float = 0.0
    mu: float = 0.0
    within: float = 0.0
    free: float = 0.0


NOTHING = Others()
# In units of a kind's variance: how far a kind's mean lies from the shop's, and how far the shop's from nominal. With
# no data they add up to 1 / KAPPA, with many kinds the first is left.
_APART = 1 / KAPPA_MOST
_SHOP = 1 / KAPPA - _APART


def prior(minutes: float, others: Others = NOTHING) -> Nig:
    """What is believed of a kind of so many nominal minutes before its first repair.

    Partial pooling of a two-level normal model: each kind's mean counts as n / (1 + n / KAPPA_MOST) towards the shop's,
    so that a kind with a thousand repairs does not speak for all the others. Kappa runs from KAPPA (nothing known) to
    KAPPA_MOST (many kinds known), alpha from ALPHA to ALPHA_MOST.
    """
    known = 1 / _SHOP + others.weight
    alpha = ALPHA + others.free / 2
    variance = (ALPHA * SPREAD**2 + others.within / 2) / alpha
    taken = min(alpha, ALPHA_MOST)
    return Nig(
        mu=math.log(minutes) + others.weight * others.mu / known,
        kappa=1 / (_APART + 1 / known), alpha=taken, beta=taken * variance,
    )  # fmt: skip


def posterior(before: Nig, sums: Sums) -> Nig:
    """What is believed after those repairs. Exact, and the same in one step or in many."""
    if not sums.n:
        return before
    kappa = before.kappa + sums.n
    off = before.kappa * sums.n * (sums.mean - before.mu) ** 2 / (2 * kappa)
    return Nig(
        mu=(before.kappa * before.mu + sums.total) / kappa, kappa=kappa, alpha=before.alpha + sums.n / 2,
        beta=before.beta + sums.within / 2 + off,
    )  # fmt: skip


def learned(kinds: Mapping[Key, tuple[float, Sums]]) -> dict[Key, Nig]:
    """What is believed of every kind of a shop, from (nominal minutes, sums of its own repairs) of each.

    A kind's prior comes from the others only: its own repairs count once.
    """
    said = {key: _says(minutes, sums) for key, (minutes, sums) in kinds.items()}
    weight, pull = sum(one.weight for one in said.values()), sum(one.weight * one.mu for one in said.values())
    within, free = sum(one.within for one in said.values()), sum(one.free for one in said.values())
    found = {}
    for key, (minutes, sums) in kinds.items():
        own = said[key]
        rest = weight - own.weight
        mu = (pull - own.weight * own.mu) / rest if rest > 1e-9 else 0.0
        others = Others(max(0.0, rest), mu, max(0.0, within - own.within), max(0.0, free - own.free))
        found[key] = posterior(prior(minutes, others), sums)
    return found


def _says(minutes: float, sums: Sums) -> Others:
    """What one kind's own repairs say of the shop."""
    if not sums.n:
        return NOTHING
    return Others(1 / (_APART + 1 / sums.n), sums.mean - math.log(minutes), sums.within, sums.n - 1)


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
    logs = [math.log(one) for one in open_minutes if one > SHORTEST_JOB]
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

"""What a shop believes of its repair kinds: their log minutes, learned of each and shared between them.

The logarithm of a repair's hands-on minutes is normal; what is not known of its mean and variance is normal-inverse-
gamma (Murphy 2007, "Conjugate Bayesian analysis of the Gaussian distribution"). Lognormal is the customary model of
active repair times (MIL-HDBK-338B 5.6.2). The exponential of a Student t has no mean: nothing here gives one.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from notify.core.past_jobs import Sums

Key = TypeVar("Key", bound=Hashable)

# A kind nobody has repaired yet: as good as two repairs that took the nominal minutes, and a spread of .5 known as from
# four. 80 of 100 are then done in 1.8 times the nominal minutes, 90 in 2.6 times. An assumption, not data.
KAPPA, ALPHA, SPREAD = 2.0, 2.0, 0.5
# What a shop's other kinds can say of one at most: its mean as from five repairs (a kind's own mean lies about .45 of
# its spread off the shop's), its spread as from ten. More of them would not make this kind better known.
KAPPA_MOST, ALPHA_MOST = 5.0, 5.0


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


@dataclass(frozen=True, slots=True)
class Shop:
    """What all kinds of a shop say, as sums from which one kind's own part can be taken away; `pull` is weight x mu."""

    weight: float = 0.0
    pull: float = 0.0
    within: float = 0.0
    free: float = 0.0

    def plus(self, one: Others, times: int = 1) -> Shop:
        """With one kind more, or (`times` -1) without it."""
        return Shop(
            self.weight + times * one.weight, self.pull + times * one.weight * one.mu,
            self.within + times * one.within, self.free + times * one.free,
        )  # fmt: skip

    def less(self, own: Others) -> Others:
        """What the other kinds say; dust that subtracting leaves is nothing."""
        rest = self.plus(own, -1)
        mu = rest.pull / rest.weight if rest.weight > 1e-9 else 0.0
        return Others(max(0.0, rest.weight), mu, max(0.0, rest.within), max(0.0, rest.free))


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
    if not sums.jobs:
        return before
    kappa = before.kappa + sums.jobs
    off = before.kappa * sums.jobs * (sums.total / sums.jobs - before.mu) ** 2 / (2 * kappa)
    return Nig(
        mu=(before.kappa * before.mu + sums.total) / kappa, kappa=kappa, alpha=before.alpha + sums.jobs / 2,
        beta=before.beta + within(sums) / 2 + off,
    )  # fmt: skip


def within(sums: Sums) -> float:
    """The sum of squares of log minutes about their own mean; 0 of none."""
    return max(0.0, sums.squares - sums.total**2 / sums.jobs) if sums.jobs else 0.0


def learned(kinds: Mapping[Key, tuple[float, Sums]]) -> dict[Key, Nig]:
    """What is believed of every kind of a shop, from (nominal minutes, sums of its own repairs) of each.

    A kind's prior comes from the others only: its own repairs count once.
    """
    said = {key: says(minutes, sums) for key, (minutes, sums) in kinds.items()}
    whole = pooled(said.values())
    return {
        key: posterior(prior(minutes, whole.less(said[key])), sums) for key, (minutes, sums) in kinds.items()
    }  # fmt: skip


def pooled(several: Iterable[Others]) -> Shop:
    """What all kinds say together."""
    whole = Shop()
    for one in several:
        whole = whole.plus(one)
    return whole


def says(minutes: float, sums: Sums) -> Others:
    """What one kind's own repairs say of the shop."""
    if not sums.jobs:
        return NOTHING
    off = sums.total / sums.jobs - math.log(minutes)
    return Others(1 / (_APART + 1 / sums.jobs), off, within(sums), sums.jobs - 1)

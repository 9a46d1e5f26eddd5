"""Adapter for how long repairs take and how late parcels come: the product's beliefs, against published values.

The product takes logarithms of minutes; the cases that are in hours or in no unit go through the same functions. Of the
inverse Gaussian it has nothing: that figure is checked against its own formula (mean, n / sum(1/x - 1/mean)).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from scipy import stats

from notify.core.past_jobs import Sums, sums_of
from notify.forecast.belief import Nig, posterior, within
from notify.forecast.durations import draw, minutes
from notify.forecast.lead_times import shares

Given = dict[str, Any]
TIGHT = 1e-6  # the cases' own relative tolerance
# Next to nothing is believed before the data: then the belief's mean and scale are those of the sample (Murphy 2007).
FLAT = Nig(mu=0.0, kappa=1e-7, alpha=-0.5 + 1e-7, beta=1e-9)


def posterior_predictive(given: Given, expect: Given) -> None:
    """S07: the belief after five repairs, its Student t (quantiles from scipy), and a sample of what is drawn."""
    before = Nig(**given["prior"])
    after = posterior(before, sums_of(given["minutes"]))
    assert after.df == expect["df"]
    for name, value in expect["posterior"].items():
        assert getattr(after, name) == pytest.approx(value, rel=TIGHT), name
    for nig, key in ((after, "predictive_quantiles"), (before, "prior_predictive_quantiles")):
        sample = _sample(nig)
        for level, value in expect[key].items():
            at = float(level)
            assert math.exp(nig.mu + nig.scale * stats.t.ppf(at, nig.df)) == pytest.approx(value, rel=TIGHT)
            below = float((sample <= value).mean())
            assert below == pytest.approx(at, abs=4 * math.sqrt(at * (1 - at) / sample.size)), (key, level)


def _sample(nig: Nig, paths: int = 40_000) -> Any:
    return minutes(draw(nig, paths=paths, seed_key=(7,)), np.random.default_rng(11).standard_normal(paths))


def fit(given: Given, expect: Given) -> None:
    """S10: the 46 active repair times through the running sums that are kept of a kind."""
    hours = given["hours"]
    sums = sums_of(hours)
    mean, spread = _mean(sums), math.sqrt(within(sums) / (sums.jobs - 1))
    log = NormalDist(mean, spread)
    average = math.fsum(hours) / len(hours)
    found = {
        "n": sums.jobs, "mean": average, "mean_log": mean, "sd_log_n1": spread,
        "sd_log_mle": math.sqrt(within(sums) / sums.jobs), "median": math.exp(mean),
        "mttr_lognormal": math.exp(mean + spread**2 / 2), "P_le_20h": log.cdf(math.log(20)),
        "t90": math.exp(log.inv_cdf(0.9)), "t95": math.exp(log.inv_cdf(0.95)), "ig_mu": average,
        "ig_lambda": len(hours) / math.fsum(1 / x - 1 / average for x in hours),
    }  # fmt: skip
    assert {name: found[name] for name in expect} == pytest.approx(expect, rel=TIGHT)


def _mean(sums: Sums) -> float:
    return sums.total / sums.jobs


def lognormal_fit(given: Given, expect: Given) -> None:
    """K06: mean and spread of the logs, and the intervals that the belief after them gives with next to none before."""
    sums = sums_of(given["x"])
    after = posterior(FLAT, sums)
    half = math.sqrt(after.beta / (after.alpha * after.kappa)) * stats.t.ppf(0.975, after.df)
    spreads = [math.sqrt(2 * after.beta / stats.chi2.ppf(level, after.df)) for level in (0.975, 0.025)]
    found = {
        "mu": [after.mu], "sigma_n1": [math.sqrt(after.beta / after.alpha)],
        "mu_ci95": [after.mu - half, after.mu + half], "sigma_ci95": spreads,
    }  # fmt: skip
    for name, value in expect.items():
        assert found[name] == pytest.approx(value if isinstance(value, list) else [value], abs=2e-4), name


def fit_censored(given: Given, expect: Given) -> None:
    """S11: 37 finished and 59 open locomotive controls. The product believes, it does not maximise.

    With next to nothing believed before, the belief leans to the right of the likelihood's peak, since with 59 of 96
    open a long tail is never ruled out: its median lies a few thousandths over mu (a standard error is about .1), and
    2 % over sigma. Without the open ones the mean would be .7 lower.
    """
    mu, sigma = _medians(given["observed"], [given["censored_at"]] * given["n_censored"])
    assert mu == pytest.approx(expect["mu"], abs=0.02) and sigma == pytest.approx(expect["sigma"], rel=0.04)
    assert _mean(sums_of(given["observed"])) < expect["mu"] - 0.5


def _medians(finished: Sequence[float], still: Sequence[float]) -> tuple[float, float]:
    drawn = draw(posterior(FLAT, sums_of(finished)), paths=4000, seed_key=(3,), open_minutes=still)
    return float(np.median(drawn.mu)), float(np.median(drawn.sigma))


def dirichlet(given: Given, expect: dict[str, float]) -> None:
    """S12: how late the next parcel comes."""
    found = shares(list(given["counts"].values()), list(given["alpha"].values()))
    assert dict(zip(given["alpha"], found, strict=True)) == pytest.approx(expect, abs=1e-9)


AREAS = {
    "posterior-predictive": posterior_predictive, "fit": fit, "fit-censored": fit_censored,
    "lognormal-fit": lognormal_fit, "dirichlet-multinomial": dirichlet,
}  # fmt: skip

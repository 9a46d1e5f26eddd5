"""Scores of promises and forecasts against scipy, numpy and the definitions they come from."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from notify.forecast import scores


@given(of=st.integers(1, 400), share=st.floats(0, 1), sure=st.sampled_from([0.8, 0.95, 0.99]))
@settings(max_examples=50, deadline=None)
def test_the_interval_of_a_share_is_that_of_scipy(of: int, share: float, sure: float) -> None:
    kept = round(of * share)
    theirs = stats.binomtest(kept, of).proportion_ci(sure, method="wilson")
    assert scores.wilson(kept, of, sure=sure) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_of_nothing_nothing_is_known() -> None:
    assert scores.wilson(0, 0) == (0.0, 1.0)


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9])
def test_the_loss_of_a_quantile_is_least_at_that_quantile(level: float) -> None:
    # Koenker and Bassett 1978: the quantile minimises the mean of this loss. numpy tells the quantile.
    sample = np.random.default_rng(3).gamma(2.0, 30.0, 501)
    tried = np.linspace(sample.min(), sample.max(), 800)
    lost = [np.mean([scores.pinball(at, one, level) for one in sample]) for at in tried]
    step = tried[1] - tried[0]
    assert abs(tried[int(np.argmin(lost))] - np.quantile(sample, level)) <= 2 * step


@given(sample=st.lists(st.floats(0, 1000), min_size=1, max_size=40), actual=st.floats(-100, 1100))
@settings(max_examples=50, deadline=None)
def test_how_far_a_forecast_was_off_is_the_squared_distance_of_its_distribution(
    sample: list[float], actual: float
) -> None:
    # Gneiting and Raftery 2007, (20): the integral of (F(x) - 1{x >= y})^2. Both are steps, so it is a sum.
    edges = np.unique([*sample, actual])
    share = np.searchsorted(np.sort(sample), edges[:-1], side="right") / len(sample)
    whole = float(np.sum((share - (edges[:-1] >= actual)) ** 2 * np.diff(edges)))
    assert scores.crps(sample, actual) == pytest.approx(whole, abs=1e-6)


@given(shares=st.lists(st.floats(0, 1), max_size=60))
@settings(max_examples=50, deadline=None)
def test_the_histogram_is_that_of_numpy(shares: list[float]) -> None:
    shares = [round(one, 3) for one in shares]
    theirs = np.bincount([min(9, int(one * 10)) for one in shares], minlength=10) if shares else np.zeros(10)
    assert scores.histogram(shares) == tuple(theirs)
    free = [one for one in shares if (one * 10) % 1]  # on an edge two roundings may differ
    assert scores.histogram(free) == tuple(np.histogram(free, bins=10, range=(0, 1))[0])


def test_a_shop_that_keeps_what_it_means_to_keep_seldom_leaves_the_limits_and_one_that_slips_leaves_them_soon() -> None:
    low, high = scores.ewma_limits(0.9, (0.9 * 0.1) ** 0.5)

    def first_out(share: float, seed: int) -> int:
        chance = random.Random(seed)
        values = scores.ewma((float(chance.random() < share) for _ in range(1000)), start=0.9)
        return next((at for at, value in enumerate(values) if not low <= value <= high), 1000)

    steady = sorted(first_out(0.9, seed) for seed in range(60))
    slipping = sorted(first_out(0.6, seed) for seed in range(60))
    print(f"FIGURE drift_seen limits={low:.3f} steady_median={steady[30]} slipping_median={slipping[30]}")
    assert steady[30] > 5 * slipping[30] and slipping[30] < 20


def test_a_promise_for_this_very_instant_is_due_and_kept_by_what_is_ready_now() -> None:
    """facts: kept means not after the promised time; what is due and not ready is broken."""
    assert scores.tally([(60.0, 60.0), (60.0, None), (60.5, None)], now=60.0) == scores.Tally(1, 1, 1)

"""The engine against a second one: SimPy, one event after the other, on random shops (tests/forecast/by_events.py)."""

from __future__ import annotations

import random

import numpy as np
import pytest
from scipy.stats import ks_2samp

from tests.forecast.random_shops import FAR, by_events, ours, shop_of

pytestmark = pytest.mark.usefixtures("tzdata_only")


def _same_to_the_second(seeds: range, *, most: int = 11) -> tuple[int, int]:
    jobs = never = 0
    for seed in seeds:
        shop = shop_of(seed, chance=False, most=most)
        found = np.nan_to_num(ours(shop, paths=2).ready, posinf=FAR)
        wanted = by_events(shop, random.Random(seed))
        assert found[:, 0].tolist() == wanted and (found[:, 0] == found[:, 1]).all(), f"shop {seed}"
        jobs, never = jobs + len(wanted), never + wanted.count(FAR)
    return jobs, never


def _distributions(seeds: range, runs: int) -> list[float]:
    """The two-sample Kolmogorov-Smirnov p-value of every job of those shops."""
    values = []
    for seed in seeds:
        shop, dice = shop_of(seed, chance=True), random.Random(seed)
        found = np.nan_to_num(ours(shop, paths=4000).ready, posinf=FAR)
        wanted = np.array([by_events(shop, dice) for _ in range(runs)]).T
        values += [float(ks_2samp(a, b).pvalue) for a, b in zip(found, wanted, strict=True)]
    return values


@pytest.mark.long
def test_without_chance_every_device_of_a_hundred_shops_is_ready_in_the_same_second() -> None:
    jobs, never = _same_to_the_second(range(100))
    print(f"FIGURE forecast_by_events shops=100 jobs={jobs} never={never} apart=0")
    assert never


@pytest.mark.long
def test_without_chance_a_bench_of_many_jobs_is_the_same_to_the_second() -> None:
    jobs, _ = _same_to_the_second(range(10), most=90)
    assert jobs > 300


@pytest.mark.long
def test_with_chance_the_ready_times_of_forty_shops_have_the_same_distribution() -> None:
    """Of so many honest p-values the smallest is below .01/n once in a hundred sets; the seeds are fixed."""
    values = _distributions(range(40), 150)
    print(f"FIGURE forecast_ks shops=40 jobs={len(values)} smallest={min(values):.5f} median={np.median(values):.2f}")
    assert min(values) > 0.01 / len(values)
    assert np.mean(np.array(values) < 0.05) < 0.12


@pytest.mark.deep
def test_thousands_of_shops_agree() -> None:
    _same_to_the_second(range(100, 3000))
    values = _distributions(range(1000, 1300), 500)
    print(f"FIGURE forecast_ks_deep shops=300 jobs={len(values)} smallest={min(values):.6f}")
    assert min(values) > 0.01 / len(values)

"""What a finished repair teaches, against published times and the standard library's fractions and statistics."""

from __future__ import annotations

import math
import random
import statistics
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notify.core.past_jobs import LEAST, MOST, Sums, is_believed, sums_of, sums_of_one

# 46 active repair times in hours: Chhikara and Folks, The Inverse Gaussian Distribution (1989), as the R package
# reliaR has them (data set repairtimes); the same problem stands in MIL-HDBK-338 (1984) 5.3.2.1.1.
HOURS = (
    0.2, 0.3, 0.5, 0.5, 0.5, 0.5, 0.6, 0.6, 0.7, 0.7, 0.7, 0.8, 0.8, 1.0, 1.0, 1.0, 1.0, 1.1, 1.3, 1.5, 1.5, 1.5, 1.5,
    2.0, 2.0, 2.2, 2.5, 2.7, 3.0, 3.0, 3.3, 3.3, 4.0, 4.0, 4.5, 4.7, 5.0, 5.4, 5.4, 7.0, 7.5, 8.8, 9.0, 10.3,
    22.0, 24.5,
)  # fmt: skip
MINUTES = st.floats(LEAST, MOST)


def test_the_sums_of_46_published_repairs_give_their_published_mean_and_deviation() -> None:
    assert len(HOURS) == 46 and round(sum(HOURS), 1) == 165.9
    sums = sums_of(hours * 60 for hours in HOURS)
    mean = sums.total / sums.jobs - math.log(60)
    deviation = math.sqrt((sums.squares - sums.total**2 / sums.jobs) / (sums.jobs - 1))
    assert mean == pytest.approx(0.65839, abs=6e-6) and deviation == pytest.approx(1.11397, abs=6e-6)


@given(st.lists(MINUTES, min_size=2, max_size=60))
def test_mean_and_variance_are_those_of_the_standard_library(minutes: list[float]) -> None:
    sums, logs = sums_of(minutes), [math.log(one) for one in minutes]
    assert sums.total / sums.jobs == pytest.approx(statistics.fmean(logs), abs=1e-7)
    variance = sums.squares / sums.jobs - (sums.total / sums.jobs) ** 2
    assert variance == pytest.approx(statistics.pvariance(logs), abs=1e-5)


@given(st.lists(MINUTES, max_size=80), st.lists(MINUTES, max_size=20), st.randoms(use_true_random=False))
def test_what_comes_and_goes_in_any_order_leaves_no_trace(
    stay: list[float], go: list[float], chance: random.Random
) -> None:
    acts = [(1, one) for one in (*stay, *go)]
    chance.shuffle(acts)
    sums = Sums()
    for _, one in acts:
        sums += sums_of_one(one)
    for one in go:
        sums += -sums_of_one(one)
    assert sums == sums_of(stay)  # to the last bit


def test_ten_thousand_sums_are_exact_against_fractions() -> None:
    chance = random.Random(4)
    minutes = [math.exp(chance.uniform(0, math.log(MOST))) for _ in range(10_000)]
    parts = [sums_of_one(one) for one in minutes]
    exact = sum((Fraction(one.squares) for one in parts), Fraction())
    whole = sums_of(minutes)
    print(f"FIGURE past_jobs_drift jobs=10000 off={float(abs(Fraction(whole.squares) - exact))}")
    assert Fraction(whole.squares) == exact and whole.jobs == 10_000


@pytest.mark.parametrize("minutes", [0.0, 0.99, 961, -5, math.inf, math.nan])
def test_what_nobody_can_mean_is_not_believed(minutes: float) -> None:
    assert not is_believed(minutes) and is_believed(1) and is_believed(960)

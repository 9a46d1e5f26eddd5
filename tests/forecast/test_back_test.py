"""The back-test against a slow one that starts anew for each job and asks scipy, and on jobs with a known law."""

from __future__ import annotations

import math
import random
import time

import pytest
from scipy import stats

from notify.core.past_jobs import Sums, sums_of
from notify.forecast import belief
from notify.forecast.back_test import LEVELS, back_test
from notify.forecast.durations import longest_of_all as within

KINDS = {"shutter": 75.0, "battery": 25.0, "screen": 35.0}
Job = tuple[str, float]


def some_jobs(n: int, *, seed: int, spread: float = 0.4, slower: float = 1.4) -> list[Job]:
    chance = random.Random(seed)
    kinds = [chance.choice(list(KINDS)) for _ in range(n)]
    return [(kind, math.exp(chance.gauss(math.log(KINDS[kind] * slower), spread))) for kind in kinds]


def slow(jobs: list[Job]) -> tuple[list[float], list[float]]:
    """(where each job fell in its own forecast, its loss at nine of ten), from all before it, by scipy."""
    pits, losses = [], []
    for at, (kind, minutes) in enumerate(jobs):
        before = {key: sums_of(m for k, m in jobs[:at] if k == key) for key in KINDS}
        nig = belief.learned({key: (KINDS[key], before[key]) for key in KINDS})[kind]
        said = stats.t(2 * nig.alpha, nig.mu, math.sqrt(nig.beta * (nig.kappa + 1) / (nig.alpha * nig.kappa)))
        pits.append(float(said.cdf(math.log(minutes))))
        over = minutes - math.exp(said.ppf(0.9))
        losses.append(0.9 * over if over > 0 else -0.1 * over)
    return pits, losses


def test_running_sums_come_to_what_a_fresh_start_for_each_job_and_scipy_say() -> None:
    jobs = some_jobs(120, seed=3)
    pits, losses = slow(jobs)
    found = back_test(KINDS, jobs, start={})
    assert found.jobs == 120
    for level in found.levels:
        assert level.share == sum(1 for pit in pits if pit <= level.level) / 120
    assert found.levels[2].loss == pytest.approx(sum(losses) / 120, rel=1e-9)
    assert found.histogram == tuple(sum(1 for p in pits if min(9, int(p * 10)) == n) for n in range(10))


def test_a_window_predicts_as_the_whole_did() -> None:
    jobs = some_jobs(400, seed=8)
    start = {key: sums_of(m for k, m in jobs[:300] if k == key) for key in KINDS}
    whole, window = slow(jobs)[0][300:], back_test(KINDS, jobs[300:], start=start)
    assert [one.share for one in window.levels] == [sum(p <= level for p in whole) / 100 for level in LEVELS]


def test_what_is_said_comes_true_and_learning_beats_the_usual_minutes() -> None:
    jobs = some_jobs(4000, seed=5)
    began = time.process_time()
    found = back_test(KINDS, jobs, start={})
    seconds = time.process_time() - began
    told = " ".join(f"at{one.level:.0%}={one.share:.3f}[{one.low:.3f},{one.high:.3f}]" for one in found.levels)
    print(f"FIGURE back_test jobs=4000 {told} cpu_s={seconds:.2f}")
    for one in found.levels:
        error = math.sqrt(one.level * (1 - one.level) / 4000)
        assert abs(one.share - one.level) < 3.5 * error and one.low < one.share < one.high
        assert one.loss < one.loss_nominal
    assert found.levels[0].share_nominal < 0.25  # the catalogue is a third too fast, and says so


def test_no_jobs_say_nothing_and_an_untaught_kind_is_done_within_known_minutes() -> None:
    assert back_test(KINDS, [], start={}).levels == ()
    fresh = belief.posterior(belief.prior(30), Sums())
    # Half minutes: S07 of the forecast vectors has 53 at 80 % and 77 at 90 % for half an hour before any data.
    assert within([fresh], 0.5) == pytest.approx([30]) and [round(one) for one in within([fresh], 0.8)] == [53]
    assert [round(one) for one in within([fresh, belief.prior(60)], 0.9)] == [77, 153] and within([], 0.9) == []

"""Where ready times fall in forecasts, and the level to ask: against scipy and figures measured independently."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from statistics import NormalDist, fmean

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from notify.core.ready import LEVELS
from notify.forecast.calibration import (
    HIGHEST,
    LOWEST,
    WINDOW,
    adapt,
    adaptive_level,
    conformal,
    level_to_ask,
    pit,
)

Z = NormalDist()


def grid_of(law: stats.rv_continuous) -> list[tuple[float, float]]:
    return [(float(law.ppf(level)), level) for level in LEVELS]


@pytest.mark.parametrize("sigma", [0.2, 0.5, 1.0])
def test_a_place_between_known_quantiles_is_near_to_the_true_one_and_exact_in_a_lognormal_tail(sigma: float) -> None:
    law = stats.lognorm(sigma, scale=1800)  # seconds; scipy's distribution function is the second opinion
    known = grid_of(law)
    inside = max(abs(pit(known, law.ppf(p), chance=0.5) - p) for p in (0.06, 0.18, 0.33, 0.52, 0.77, 0.93))
    beyond = max(abs(pit(known, law.ppf(p), chance=0.5) - p) for p in (0.001, 0.03, 0.96, 0.98, 0.99, 0.999))
    print(f"FIGURE pit_error sigma={sigma} between={inside:.4f} beyond={beyond:.6f}")
    assert inside < 0.006 and beyond < 1e-9


@pytest.mark.parametrize(("law", "most"), [
    (stats.norm(36_000, 1200), 0.001), (stats.gamma(4, scale=900), 0.006), (stats.gamma(12, scale=900), 0.004),
])  # fmt: skip
def test_the_tail_of_another_law_is_guessed_within_a_little(law: stats.rv_continuous, most: float) -> None:
    known = grid_of(law)
    assert max(abs(pit(known, law.ppf(p), chance=0.5) - p) for p in (0.96, 0.975, 0.99)) < most


@given(
    seconds=st.lists(st.integers(0, 500_000), min_size=19, max_size=19).map(sorted),
    actual=st.lists(st.integers(0, 700_000), min_size=2, max_size=6).map(sorted),
    chance=st.floats(0, 1),
)
@settings(max_examples=60, deadline=None)
def test_a_place_lies_between_nothing_and_everything_and_a_later_time_is_no_earlier_in_it(
    seconds: list[int], actual: list[int], chance: float
) -> None:
    known = list(zip(map(float, seconds), LEVELS, strict=True))
    found = [pit(known, float(one), chance=chance) for one in actual]
    assert all(0 <= one <= 1 for one in found)
    assert all(
        before <= after or a == b for (before, after), (a, b) in zip(pairwise(found), pairwise(actual), strict=True)
    )


def test_where_a_forecast_says_only_one_instant_the_place_is_drawn_and_uniform() -> None:
    same = [(3600.0, level) for level in LEVELS]
    chance = random.Random(7)
    drawn = [pit(same, 3600.0, chance=chance.random()) for _ in range(2000)]
    assert stats.kstest(drawn, "uniform").pvalue > 0.01
    # An atom in the middle: a third of the ready times are exactly at closing.
    atom = [(min(max(level, 0.3), 0.65) * 10_000, level) for level in LEVELS]
    drawn = [pit(atom, 6500.0, chance=chance.random()) for _ in range(2000)]
    assert min(drawn) >= 0.65 and max(drawn) <= 1.0 and abs(fmean(drawn) - 0.825) < 0.01


def test_fair_forecasts_end_uniformly_also_when_the_ready_time_can_only_be_the_closing_or_the_next_morning() -> None:
    # A job of lognormal length begun an hour before closing: what goes on is cut off at closing, in open time an atom.
    chance = random.Random(11)
    hours = [min(math.exp(math.log(3000) + 0.5 * Z.inv_cdf(level)), 3600.0) for level in LEVELS]
    known = list(zip(hours, LEVELS, strict=True))
    found = []
    for _ in range(3000):
        actual = min(math.exp(math.log(3000) + 0.5 * Z.inv_cdf(chance.random())), 3600.0)
        found.append(pit(known, actual, chance=chance.random()))
    below = [one for one in found if one <= 0.6]  # the atom's lower edge is known to one step of the grid only
    assert stats.kstest([one / 0.6 for one in below], "uniform").pvalue > 0.01
    assert abs(sum(one > 0.9 for one in found) / len(found) - 0.1) < 0.025


def unlimited(pits: list[float], wanted: float) -> float:
    found = conformal(pits, wanted)
    return wanted if found is None else found


def coverage(pits: list[list[float]], ask: str, gamma: float = 0.02) -> tuple[float, float, float]:
    """The share kept of the first 30 promises of each shop, of those up to 100, and after."""
    kept: tuple[list[bool], list[bool], list[bool]] = ([], [], [])
    for shop in pits:
        allowed = 0.1
        for turn, one in enumerate(shop):
            if ask == "raw":
                level = 0.9
            elif ask in ("conformal", "unlimited"):
                rule = level_to_ask if ask == "conformal" else unlimited
                level = rule(shop[max(0, turn - WINDOW) : turn][::-1], 0.9)
            else:
                level = min(1.0, max(0.0, 1 - allowed))
                allowed = adapt(allowed, one > level, alpha=0.1, gamma=gamma)
            kept[0 if turn < 30 else 1 if turn < 100 else 2].append(one <= level)
    return tuple(fmean(part) for part in kept)  # type: ignore[return-value]


@pytest.mark.long
def test_forecasts_that_are_too_sure_of_themselves_are_corrected_as_far_and_as_fast_as_measured() -> None:
    """Durations with a deviation of .60 of which forecasts say .35. The wanted figures were measured independently, by
    a plain script over 400 shops with numpy (facts: raw .775; conformal .877, .910, .901; adaptive .811, .882, .900
    and .850, .899, .900 for steps of .02 and .05); the raw one is Phi(1.2816 * .35 / .60) as well.
    """
    chance = random.Random(20261127)
    pits = [[Z.cdf(chance.gauss(0, 0.60 / 0.35)) for _ in range(250)] for _ in range(300)]
    raw, found, limited = coverage(pits, "raw"), coverage(pits, "unlimited"), coverage(pits, "conformal")
    slow, quick = coverage(pits, "adaptive"), coverage(pits, "adaptive", 0.05)
    for name, shares in (
        ("raw", raw),
        ("conformal", found),
        ("limited", limited),
        ("adaptive02", slow),
        ("adaptive05", quick),
    ):
        print(f"FIGURE coverage rule={name} first30={shares[0]:.3f} to100={shares[1]:.3f} after={shares[2]:.3f}")
    assert fmean(raw) == pytest.approx(Z.cdf(Z.inv_cdf(0.9) * 0.35 / 0.60), abs=0.008)
    assert found == pytest.approx((0.877, 0.910, 0.901), abs=0.012)
    # What is used never asks for more than .99, which costs a little where .986 would be right.
    assert all(-0.03 < ours - theirs < 0.012 for ours, theirs in zip(limited, found, strict=True))
    assert limited[2] > 0.885
    assert slow == pytest.approx((0.811, 0.882, 0.900), abs=0.012)
    assert quick == pytest.approx((0.850, 0.899, 0.900), abs=0.012)


@pytest.mark.long
def test_the_correction_holds_for_places_told_from_nineteen_kept_quantiles_as_well() -> None:
    """The same shops, but the place is told from the kept grid and the asked quantile, and the law is no lognormal."""
    chance = random.Random(5)
    law = stats.gamma(6, scale=600)
    known, quantiles = grid_of(law), [float(law.ppf(at / 1000)) for at in range(500, 1000)]
    kept: list[bool] = []
    for _ in range(60):
        pits: list[float] = []
        for turn in range(160):
            level = level_to_ask(pits[::-1], 0.9)
            asked = quantiles[min(499, round(level * 1000) - 500)]
            actual = float(law.ppf(Z.cdf(chance.gauss(0.2, 1.3))))  # later than forecast, and wider
            points = sorted([*known, (asked, level)], key=lambda point: point[1])
            pits.append(pit(points, actual, chance=chance.random()))
            if turn >= 60:
                kept.append(actual <= asked)
    print(f"FIGURE coverage rule=conformal_from_grid after={fmean(kept):.3f} of={len(kept)}")
    assert fmean(kept) == pytest.approx(0.9, abs=0.015)


def test_with_too_few_outcomes_the_wanted_level_is_asked_and_never_one_beyond_the_limits() -> None:
    late = [0.999] * 200
    assert [level_to_ask(late[:n], 0.9) for n in (0, 8, 9, 200)] == [0.9, 0.9, HIGHEST, HIGHEST]
    assert level_to_ask([0.01] * 50, 0.9) == LOWEST
    assert [conformal(late[:n], 0.5) for n in (0, 1)] == [None, 0.999]
    assert adaptive_level(late, 0.9) == HIGHEST and adaptive_level([0.01] * 200, 0.9) == LOWEST


def test_only_the_newest_hundred_outcomes_count() -> None:
    newest = [0.5] * WINDOW
    assert level_to_ask([*newest, *[0.999] * 500], 0.9) == 0.5

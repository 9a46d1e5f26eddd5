"""Student's t against scipy, from four degrees of freedom to a hundred thousand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from notify.forecast.student_t import quantile, share_below

DEGREES = np.concatenate([np.linspace(4, 199, 400), [199.99, 200, 200.01], np.geomspace(201, 1e5, 200)])


def test_shares_and_quantiles_agree_with_scipy() -> None:
    at = np.random.default_rng(2).standard_t(3, DEGREES.size) * 2
    off = float(np.abs(share_below(at, DEGREES) - stats.t.cdf(at, DEGREES)).max())
    far = max(float(np.abs(quantile(p, DEGREES) - stats.t.ppf(p, DEGREES)).max()) for p in (0.05, 0.5, 0.8, 0.9, 0.99))
    print(f"FIGURE student_t degrees={DEGREES.size} share_off={off:.1e} quantile_off={far:.1e}")
    assert off < 1e-9 and far < 1e-9


@pytest.mark.parametrize(("degrees", "printed"), [(5, 2.015), (10, 1.812), (30, 1.697), (100, 1.660)])
def test_the_printed_table_of_the_95_per_cent_points_is_met(degrees: float, printed: float) -> None:
    """NIST/SEMATECH e-Handbook 1.3.6.7.2, from memory."""
    assert quantile(0.95, np.array([float(degrees)]))[0] == pytest.approx(printed, abs=6e-4)


def test_far_out_nothing_is_left_and_nothing_breaks() -> None:
    at, degrees = np.array([-1e6, -50.0, 50.0, 1e6] * 2), np.repeat([4.0, 500.0], 4)
    share = share_below(at, degrees)
    assert np.isfinite(share).all() and (share >= 0).all() and (share <= 1).all()
    assert share[0] < 1e-12 and share[3] > 1 - 1e-9 and share[5] < 1e-9

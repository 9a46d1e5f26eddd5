"""Student's t without scipy: shares and quantiles for whole arrays, from four degrees of freedom on.

Shares by the regularised incomplete beta function as a continued fraction (NIST DLMF 8.17.22, with 8.17.4), quantiles
by Newton's method on them. Far up both follow the normal distribution by its expansion in 1 / degrees (Abramowitz and
Stegun 26.7.5). Checked against scipy in the tests.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    Row = np.ndarray[Any, np.dtype[np.float64]]

_NORMAL = NormalDist()
_MANY = 200.0  # degrees from which on the expansion is as good as a double needs here (1e-9)
_STEPS, _ENOUGH, _TINY = 300, 1e-13, 1e-300
_NEWTON = 6
_FAR = 6.0  # deviates beyond which less than 1e-8 is left


def share_below(t: Row, degrees: Row) -> Row:
    """P(T <= t), element by element."""
    import numpy as np

    found = np.empty(t.shape)
    many = degrees >= _MANY
    found[many] = _phi(_to_normal(t[many], degrees[many]))
    found[~many] = _exact(t[~many], degrees[~many])
    return found


def quantile(level: float, degrees: Row) -> Row:
    """The t below which a share of `level` lies, for each number of degrees."""
    import numpy as np

    found = _expanded(_NORMAL.inv_cdf(level), degrees)
    few = degrees < _MANY
    if few.any():
        known, where = np.unique(degrees[few], return_inverse=True)
        found[few] = _newton(level, _expanded(_NORMAL.inv_cdf(level), known), known)[where]
    return found


def _newton(level: float, at: Row, degrees: Row) -> Row:
    for _ in range(_NEWTON):
        at = at - (_exact(at, degrees) - level) / _density(at, degrees)
    return at


def _density(t: Row, degrees: Row) -> Row:
    import numpy as np

    log_beta = _log_gamma(degrees / 2) - _log_gamma(degrees / 2 + 0.5) + 0.5 * math.log(math.pi)
    return np.asarray(np.exp(-log_beta - (degrees + 1) / 2 * np.log1p(t * t / degrees)) / np.sqrt(degrees))


def _exact(t: Row, degrees: Row) -> Row:
    import numpy as np

    far = _beta(degrees / (degrees + t * t), degrees / 2) / 2
    return np.asarray(np.where(t > 0, 1 - far, far))


def _beta(x: Row, a: Row) -> Row:
    """I_x(a, 1/2), by whichever of its two fractions converges fast."""
    import numpy as np

    near = x < (a + 1) / (a + 2.5)
    front = _front(x, a)
    half = np.full(a.shape, 0.5)
    found = np.empty(a.shape)
    found[near] = front[near] * _fraction(x[near], a[near], half[near]) / a[near]
    found[~near] = 1 - front[~near] * _fraction(1 - x[~near], half[~near], a[~near]) / 0.5
    return found


def _front(x: Row, a: Row) -> Row:
    import numpy as np

    log_beta = _log_gamma(a) - _log_gamma(a + 0.5) + 0.5 * math.log(math.pi)
    return np.asarray(np.exp(a * np.log(np.maximum(x, _TINY)) + 0.5 * np.log(np.maximum(1 - x, _TINY)) - log_beta))


def _fraction(x: Row, a: Row, b: Row) -> Row:
    """The continued fraction of DLMF 8.17.22, from the front (Lentz's way)."""
    import numpy as np

    c, d = np.ones(x.shape), 1 / _off_zero(1 - (a + b) * x / (a + 1))
    whole = d.copy()
    for m in range(1, _STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1 / _off_zero(1 + term * d)
            c = _off_zero(1 + term / c)
            step = c * d
            whole *= step
        if np.abs(step - 1).max(initial=0.0) < _ENOUGH:
            break
    return whole


def _off_zero(value: Row) -> Row:
    import numpy as np

    return np.asarray(np.where(np.abs(value) < _TINY, _TINY, value))


def _expanded(z: Any, degrees: Row) -> Row:
    """A&S 26.7.5: the quantile as that of a normal and terms in 1 / degrees; `z` is one number or an array."""
    z2 = z * z
    first = (z2 + 1) * z / 4
    second = ((5 * z2 + 16) * z2 + 3) * z / 96
    third = (((3 * z2 + 19) * z2 + 17) * z2 - 15) * z / 384
    fourth = ((((79 * z2 + 776) * z2 + 1482) * z2 - 1920) * z2 - 945) * z / 92160
    found: Row = z + first / degrees + second / degrees**2 + third / degrees**3 + fourth / degrees**4
    return found


def _to_normal(t: Row, degrees: Row) -> Row:
    """The normal deviate with the same share (A&S 26.7.8), made better by Newton on the expansion where it holds."""
    import numpy as np

    rough = t * (1 - 1 / (4 * degrees)) / np.sqrt(1 + t * t / (2 * degrees))
    z = np.clip(rough, -_FAR, _FAR)
    for _ in range(3):
        slope = 1 + (3 * z * z + 1) / (4 * degrees) + (25 * z**4 + 48 * z * z + 3) / (96 * degrees**2)
        z = z - (_expanded(z, degrees) - t) / slope
    return np.asarray(np.where(np.abs(rough) < _FAR, z, rough))


def _log_gamma(values: Row) -> Row:
    import numpy as np

    known, where = np.unique(values, return_inverse=True)
    return np.fromiter(map(math.lgamma, known.tolist()), float, known.size)[where].reshape(values.shape)


def _phi(z: Row) -> Row:
    import numpy as np

    scaled = (-z * math.sqrt(0.5)).tolist()
    return np.fromiter(map(math.erfc, scaled), float, len(scaled)) * 0.5

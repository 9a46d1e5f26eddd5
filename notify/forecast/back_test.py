"""How well past jobs would have been predicted: each from those before it only, in the order of their ends.

One pass: what is believed before a job follows from running sums, so that a thousand times as many jobs take a thousand
times as long and no longer. Beside it what the nominal minutes alone would have said.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from notify.core.past_jobs import Sums, sums_of_one
from notify.forecast import belief, scores
from notify.forecast.belief import Nig

if TYPE_CHECKING:
    import numpy as np

    Row = np.ndarray[Any, np.dtype[np.float64]]

LEVELS = (0.5, 0.8, 0.9)


@dataclass(frozen=True, slots=True)
class Level:
    """Of what was said to be done with this chance: the share that was, between which values the true share lies (95 of
    100 times), and the mean pinball loss in minutes; `_nominal`: had nothing been learned.
    """

    level: float
    share: float
    low: float
    high: float
    loss: float
    share_nominal: float
    loss_nominal: float


@dataclass(frozen=True, slots=True)
class BackTest:
    """What came of predicting `jobs` of them. `histogram`: where each fell in its own forecast, in tenths."""

    jobs: int
    levels: tuple[Level, ...]
    histogram: tuple[int, ...]


class _Shop:
    """What is believed of every kind as jobs come in; each one changes a few numbers."""

    def __init__(self, kinds: Mapping[str, float], start: Mapping[str, Sums]) -> None:
        self._minutes, self._sums = dict(kinds), {key: start.get(key, Sums()) for key in kinds}
        self._said = {key: belief.says(minutes, self._sums[key]) for key, minutes in kinds.items()}
        self._whole = belief.pooled(self._said.values())

    def believed(self, key: str) -> Nig:
        """What is believed of the next job of that kind."""
        others = self._whole.less(self._said[key])
        return belief.posterior(belief.prior(self._minutes[key], others), self._sums[key])

    def learn(self, key: str, minutes: float) -> None:
        """One job more."""
        self._sums[key] += sums_of_one(minutes)
        was, self._said[key] = self._said[key], belief.says(self._minutes[key], self._sums[key])
        self._whole = self._whole.plus(was, -1).plus(self._said[key])


def back_test(kinds: Mapping[str, float], jobs: Iterable[tuple[str, float]], *, start: Mapping[str, Sums]) -> BackTest:
    """Predicts each of `jobs` (kind, minutes; the oldest first) of `kinds` (nominal minutes) from those before it.

    `start` is what was learned before the first of them. Raises KeyError for a kind that is not among `kinds`.
    """
    import numpy as np

    shop, told, bare = _Shop(kinds, start), [], {key: belief.prior(minutes) for key, minutes in kinds.items()}
    logs, nominal = [], []
    for key, minutes in jobs:
        told.append(_student(shop.believed(key)))
        nominal.append(_student(bare[key]))
        logs.append(math.log(minutes))
        shop.learn(key, minutes)
    if not logs:
        return BackTest(0, (), (0,) * scores.BINS)
    actual = np.array(logs)
    model, plain = np.array(told).T, np.array(nominal).T
    pits, pits_plain = _pits(model, actual), _pits(plain, actual)
    levels = tuple(_level(level, actual, (pits, model), (pits_plain, plain)) for level in LEVELS)
    return BackTest(len(logs), levels, scores.histogram(pits.tolist()))


def _student(nig: Nig) -> tuple[float, float, float]:
    return nig.mu, nig.scale, nig.df


def _pits(said: Row, actual: Row) -> Row:
    from notify.forecast.student_t import share_below

    middle, scale, degrees = said
    return share_below((actual - middle) / scale, degrees)


def _level(level: float, actual: Row, model: tuple[Row, Row], plain: tuple[Row, Row]) -> Level:
    kept, of = int((model[0] <= level).sum()), actual.size
    low, high = scores.wilson(kept, of)
    return Level(
        level, kept / of, low, high, _loss(level, actual, model[1]), float((plain[0] <= level).mean()),
        _loss(level, actual, plain[1]),
    )  # fmt: skip


def _loss(level: float, actual: Row, said: Row) -> float:
    """The mean pinball loss in minutes, whole array at once (scores.pinball says it for one)."""
    import numpy as np

    from notify.forecast.student_t import quantile

    middle, scale, degrees = said
    over = np.exp(actual) - np.exp(np.minimum(middle + scale * quantile(level, degrees), 700.0))
    return float(np.where(over > 0, level * over, (level - 1) * over).mean())

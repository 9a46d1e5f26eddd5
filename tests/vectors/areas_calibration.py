"""Adapters for how promises were kept: shares, losses, the level to ask, drift, and the cohort that is counted."""

from __future__ import annotations

import statistics
from datetime import datetime
from typing import Any

import numpy as np
import pytest

from notify.forecast import calibration, promise, scores

Given = dict[str, Any]


def twelve(given: Given, expect: Given) -> None:
    """Twelve promises in minutes, and where they ended in their forecasts."""
    rows = [(row["promise_min"], row["actual_min"]) for row in given["rows"]]
    found = scores.tally([(at, ready) for at, ready in rows], now=max(at for at, _ in rows))
    assert (found.kept, found.due, found.kept / found.due) == (expect["kept"], expect["n"], expect["coverage"])
    assert scores.wilson(found.kept, found.due) == pytest.approx(expect["wilson95"], abs=1e-9)
    lost = statistics.fmean(scores.pinball(at, ready, given["level"]) for at, ready in rows)
    assert lost == pytest.approx(expect["mean_pinball"], abs=1e-9)
    asked = {level: calibration.conformal(given["pit"], float(level)) for level in expect["conformal_level"]}
    assert asked == pytest.approx(expect["conformal_level"], abs=1e-9)


def brier(given: list[list[float]], expect: float) -> None:
    """Chances said, and whether it came so."""
    assert scores.brier([(said, bool(came)) for said, came in given]) == pytest.approx(expect, abs=1e-12)


def aci(given: Given, expect: list[float]) -> None:
    """The adaptive rule, step by step."""
    allowed, found = given["alpha"], []
    for missed in given["errs"]:
        allowed = calibration.adapt(allowed, bool(missed), alpha=given["alpha"], gamma=given["gamma"])
        found.append(allowed)
    assert found == pytest.approx(expect, abs=1e-12)


def cohort(given: Given, expect: Given) -> None:
    """What counts as due at an instant."""

    def seconds(text: str | None) -> float | None:
        return datetime.fromisoformat(text).timestamp() if text else None

    rows = [(seconds(row["promise"]) or 0.0, seconds(row["ready"])) for row in given["rows"]]
    found = scores.tally(rows, seconds(given["now"]) or 0.0)
    wanted = {name: value for name, value in expect.items() if name != "naive_wrong"}
    assert {name: getattr(found, name) for name in wanted} == wanted


def crps(given: Given, expect: float) -> None:
    """A sample and what came."""
    assert scores.crps(given["sample"], given["actual"]) == pytest.approx(expect, abs=1e-9)


def ewma(given: Given, expect: Given) -> None:
    """The moving average and its limits. The lower one is printed cut off, not rounded."""
    found = scores.ewma(given["x"], start=given["start"], weight=given["lam"])
    assert found == pytest.approx(expect["z"], abs=0.0051)
    low, high = scores.ewma_limits(given["start"], given["s"], weight=given["lam"], width=given["k"])
    assert (low, high) == pytest.approx((expect["lcl"], expect["ucl"]), abs=2e-4)


def percentile(given: Given, expect: Given) -> None:
    """The product promises the order statistic; the interpolated one is the standard library's, to tell them apart."""
    known = np.sort(np.asarray(given["x"]))
    assert promise.quantile(known, given["p"]) == pytest.approx(expect["conservative_order_statistic"], abs=1e-4)
    assert calibration.conformal(given["x"], given["p"]) == promise.quantile(known, given["p"])
    tenths = statistics.quantiles(given["x"], n=10, method="exclusive")
    assert tenths[8] == pytest.approx(expect["nist_interpolated"], abs=1e-4)


AREAS = {
    "calibration": twelve, "brier": brier, "aci": aci, "cohort": cohort, "crps": crps, "ewma": ewma,
    "percentile": percentile,
}  # fmt: skip

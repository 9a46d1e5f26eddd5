"""Adapter for bench orders: the exact rules, the search, and the engine itself under every order of a few jobs."""

from __future__ import annotations

from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from notify.forecast.order_rules import edd, moore_hodgson, spt
from notify.forecast.order_search import Goals, search
from tests.parts.bench_table import ends, every_order, replay, searched

Given = dict[str, Any]
ACCEPTED = 0.02  # the case's own: any order within this of the best value


def bench_order(given: Given, expect: Given) -> None:
    """Known durations: what the rules give, and the best that any order can give."""
    work, dues, releases, machines = given["p"], given["d"], given.get("r", []), given["machines"]
    table = replay(work, releases=releases, machines=machines)
    rules = {"FCFS": tuple(range(len(work))), "SPT": spt(work), "EDD": edd(dues)}
    for name in expect.keys() & rules.keys():
        found = measures(ends(table, rules[name]), dues)
        assert {key: found[key] for key in expect[name]} == expect[name], name
    if "EDD_late" in expect:
        assert measures(ends(table, rules["EDD"]), dues)["late"] == expect["EDD_late"]
    if "min_late" in expect:
        assert measures(searched(table, work, dues, releases), dues)["late"] == expect["min_late"]
        assert len(work) - expect.get("on_time", len(work) - expect["min_late"]) == expect["min_late"]
        if machines == 1 and not releases:
            exact = ends(table, moore_hodgson(work, dues))
            assert measures(exact, dues)["late"] == expect["min_late"], "Moore-Hodgson"
    if best := {name.removeprefix("min_"): expect[name] for name in expect if name.startswith("min_")}:
        tried = [measures(ends(table, one), dues) for one in every_order(len(work))] if len(work) <= 7 else []
        assert not tried or {name: min(one[name] for one in tried) for name in best} == best


def measures(ended: Any, dues: list[float]) -> dict[str, float]:
    """Sums over jobs, from their ends: completion, tardiness, how many late, the largest lateness, the last end."""
    late = np.asarray(ended) - np.asarray(dues)
    return {
        "sumC": float(np.sum(ended)), "T": float(np.maximum(late, 0).sum()), "late": int((late > 0).sum()),
        "Lmax": float(late.max()), "Cmax": float(np.max(ended)),
    }  # fmt: skip


def stochastic(given: Given, expect: Given) -> None:
    """Normal durations: the search on drawn paths finds an order whose exact value is near the best one."""
    mean, sd, dues = (np.array(given[name], dtype=float) for name in ("mean", "sd", "d"))
    drawn = np.random.default_rng(1).normal(mean[:, None], sd[:, None], (len(mean), 4000))

    def play(order: tuple[int, ...]) -> Any:
        ended = np.empty_like(drawn)
        ended[list(order)] = np.cumsum(drawn[list(order)], axis=0)
        return ended

    found = search(play, Goals(dues.tolist(), [True] * len(dues)), edd(dues.tolist()))
    assert found is not None, "there is a better order than by due time"
    assert _exact(found.order, mean, sd, dues) >= expect["best_value"] - ACCEPTED
    assert _exact(tuple(expect["best_order"]), mean, sd, dues) == pytest.approx(expect["best_value"], abs=1e-4)
    assert _exact(edd(dues.tolist()), mean, sd, dues) == pytest.approx(expect["edd_value"], abs=1e-4)
    assert found.before.kept == pytest.approx(expect["edd_value"], abs=4 * 0.0137)  # 4 standard errors of 4000 paths


def _exact(order: tuple[int, ...], mean: Any, sd: Any, dues: Any) -> float:
    """The expected number in time: the ends are normal with summed means and variances."""
    where = list(order)
    ended = zip(np.cumsum(mean[where]), np.sqrt(np.cumsum(sd[where] ** 2)), dues[where], strict=True)
    return sum(NormalDist(m, s).cdf(due) for m, s, due in ended)


AREAS = {"bench-order": bench_order, "bench-order-stochastic": stochastic}

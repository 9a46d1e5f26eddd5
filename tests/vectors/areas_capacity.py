"""Adapter for the counter's capacity: Erlang's formulas and the played days of the product.

For one server with constant or other service times the product has no formula, only the played days: those cases are
put through a long day of walk-ins, and the formula beside them (tests/parts/queues) has to give the case's own figure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from notify.forecast.counter import Handover, Load, Waits, largest_load, simulate
from notify.forecast.walk_in import Line, erlang_b
from tests.parts.queues import mean_wait_mg1, wait_at_most_md1

Given = dict[str, Any]
LONG = 2000  # slots of one long day, so that its empty beginning does not count
TIGHT = 1e-6  # the cases' own relative tolerances are between 1e-9 and 1e-6


def capacity(given: Given, expect: Any) -> None:
    """One of five models."""
    models: dict[str, Callable[[Given, Any], None]] = {
        "M/M/c": _several, "M/D/1": _constant, "M/G/1": _any_length, "erlang_b": _lost, "slot": _slot,
    }  # fmt: skip
    models[given["model"]](given, expect)


def _several(given: Given, expect: Given) -> None:
    minutes = given.get("service_min") or 60 / given["mu_per_h"]
    line = Line(given["lam_per_h"] / 60, minutes, given["c"])
    wait = line.mean_wait
    found = {
        "A": line.load, "rho": line.busy, "C": line.has_to_wait, "P0": line.nobody_there, "Wq_h": wait / 60,
        "Wq_s": wait * 60, "W_h": (wait + minutes) / 60, "Lq": line.rate * wait, "L": line.rate * (wait + minutes),
        "within_target": 1 - line.over(given.get("target_wait_s", 0) / 60),
    }  # fmt: skip
    assert {name: found[name] for name in expect} == pytest.approx(expect, rel=TIGHT if "A" in expect else 1e-9)


def _lost(given: Given, expect: list[float]) -> None:
    assert [erlang_b(load, people) for load, people in given["A_N"]] == pytest.approx(expect, abs=1e-6)


def _walked_in(rate: float, handover: Handover, limit: float = 5) -> Waits:
    load = Load(1, 0, handover, slots=LONG, walk_ins=rate * 15, limit=limit)
    return simulate(load, days=200)


def _constant(given: Given, expect: Given) -> None:
    rate, service = given["lam_per_h"] / 60, given["service_min"]
    wait = mean_wait_mg1(rate, service, service**2)
    found = {
        "rho": rate * service, "Wq_h": wait / 60, "Lq": rate * wait, "P_wait_0": wait_at_most_md1(rate, service, 0),
        "P_wait_le_5": wait_at_most_md1(rate, service, 5), "P_wait_le_6_5": wait_at_most_md1(rate, service, 6.5),
        "P_wait_le_13": wait_at_most_md1(rate, service, 13),
    }  # fmt: skip
    assert {name: found[name] for name in expect} == pytest.approx(expect, rel=1e-9)
    if "Wq_h" in expect:
        assert _walked_in(rate, Handover(service, 0)).mean == pytest.approx(expect["Wq_h"] * 60, rel=0.03)
    for name, limit in (("P_wait_le_5", 5), ("P_wait_le_13", 13)):
        if name in expect:
            assert 1 - _walked_in(rate, Handover(service, 0), limit).over == pytest.approx(expect[name], abs=0.006)


def _any_length(given: Given, expect: Given) -> None:
    rate, mean, cv = given["lam_per_h"] / 60, given["service"]["mean"], given["service"]["cv"]
    wait = mean_wait_mg1(rate, mean, mean**2 * (1 + cv**2))
    found = {"rho": rate * mean, "Wq_min": wait}
    assert found == pytest.approx(expect, rel=TIGHT)
    assert _walked_in(rate, Handover(mean, cv)).mean == pytest.approx(expect["Wq_min"], rel=0.03)


def _slot(given: Given, expect: Any) -> None:
    if "cells" in given:
        found = [simulate(_load(given, c, n)).over for c, n in given["cells"]]
        assert found == pytest.approx(expect, abs=1e-9)
    elif "target" in given:
        assert [largest_load(_load(given, c, 0), target=given["target"]) for c in given["c"]] == expect
    else:
        over = simulate(_load(given, given["c"], given["per_slot"]), days=20_000).over
        assert math.isclose(over, expect["p_wait_gt_limit"], abs_tol=0.006), over


def _load(given: Given, people: int, per_slot: int) -> Load:
    service = given["service"]
    handover = Handover(service["min"], 0) if service["dist"] == "const" else Handover(service["mean"], service["cv"])
    return Load(
        people, per_slot, handover, slot_minutes=given["slot_min"], slots=given["slots"], spread=given["sd_min"],
        no_show=given.get("noshow", 0), walk_ins=given.get("walkin_per_slot", 0), limit=given["limit_min"],
    )  # fmt: skip


AREAS = {"capacity": capacity}

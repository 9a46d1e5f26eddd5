"""The counter's waits, against a published table of such runs, one event after the other, and closed formulas."""

from __future__ import annotations

import math
import random
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.forecast.counter import Handover, Load, largest_load, simulate, table, waits_of
from notify.forecast.walk_in import Line, erlang_b, most_walk_ins
from tests.parts.queues import over_by_events

# P(wait > 5 min), 16 slots of 15 min, lognormal handovers with cv .4, 4,000 days: another program's runs, made before
# this one (its queue agreed with a general-purpose event simulator within .002). People, mean minutes, customers a
# slot -> the share for a scatter of 0, 5 and 10 minutes.
TABLE = {
    (1, 5, 1): (0.000, 0.011, 0.035), (1, 5, 2): (0.225, 0.122, 0.198), (1, 5, 3): (0.718, 0.673, 0.711),
    (1, 6.5, 1): (0.001, 0.028, 0.081), (1, 6.5, 2): (0.448, 0.375, 0.469), (1, 6.5, 3): (0.949, 0.948, 0.945),
    (1, 8, 1): (0.006, 0.060, 0.144), (1, 8, 2): (0.788, 0.779, 0.800),
    (2, 5, 1): (0, 0, 0), (2, 5, 2): (0.000, 0.001, 0.004), (2, 5, 3): (0.061, 0.008, 0.020),
    (2, 5, 4): (0.218, 0.034, 0.068), (2, 5, 5): (0.407, 0.136, 0.211), (2, 5, 6): (0.70, 0.61, 0.65),
    (2, 6.5, 1): (0.000, 0.000, 0.001), (2, 6.5, 2): (0.001, 0.005, 0.018), (2, 6.5, 3): (0.171, 0.043, 0.085),
    (2, 6.5, 4): (0.422, 0.218, 0.302), (2, 8, 1): (0.000, 0.000, 0.003), (2, 8, 2): (0.004, 0.018, 0.049),
    (2, 8, 3): (0.301, 0.151, 0.232),
}  # fmt: skip
# The same with half a walk-in a slot and one in ten not coming, scatter 5.
BUSY = {(1, 5, 1): 0.069, (1, 5, 2): 0.286, (1, 6.5, 1): 0.174, (1, 8, 1): 0.328, (2, 5, 4): 0.058, (2, 6.5, 3): 0.092,
        (2, 8, 2): 0.070}  # fmt: skip


def test_every_cell_of_the_published_table_is_met_within_a_hundredth() -> None:
    apart: dict[tuple[object, ...], float] = {}
    for (people, minutes, number), shares in TABLE.items():
        for spread, share in zip((0, 5, 10), shares, strict=True):
            found = simulate(Load(people, number, Handover(minutes), spread=spread)).over
            apart[people, minutes, number, spread] = abs(found - share)
    for (people, minutes, number), share in BUSY.items():
        found = simulate(Load(people, number, Handover(minutes), walk_ins=0.5, no_show=0.1)).over
        apart[people, minutes, number, "busy"] = abs(found - share)
    print(f"FIGURE capacity_table cells={len(apart)} farthest={max(apart.values()):.4f}")
    assert {cell: off for cell, off in apart.items() if off > 0.01} == {}


def _lognormal(mean: float, cv: float) -> Callable[[random.Random], float]:
    sigma2 = math.log(1 + cv * cv)
    return lambda dice: dice.lognormvariate(math.log(mean) - sigma2 / 2, math.sqrt(sigma2))


@pytest.mark.long
@pytest.mark.parametrize(
    ("people", "number", "minutes", "more"),
    [
        (1, 1, 6.5, {}), (2, 3, 6.5, {}), (2, 4, 6.5, {}), (3, 5, 6.5, {}),
        (2, 2, 8, {"walk_ins": 0.5, "no_show": 0.1}), (1, 1, 5, {"walk_ins": 0.5, "no_show": 0.3, "spread": 10}),
    ],
)  # fmt: skip
def test_one_event_after_the_other_comes_to_the_same_share(
    people: int, number: int, minutes: float, more: dict[str, float]
) -> None:
    ours = simulate(Load(people, number, Handover(minutes), **more), days=20_000).over  # type: ignore[arg-type]
    named = {"spread": 5, **more}
    theirs = over_by_events(people=people, per_slot=number, service=_lognormal(minutes, 0.4), **named)  # type: ignore[arg-type]
    print(f"FIGURE capacity_by_events people={people} per_slot={number} ours={ours:.4f} events={theirs:.4f}")
    assert ours == pytest.approx(theirs, abs=0.006)


def test_durations_that_were_seen_are_drawn_from_as_they_are() -> None:
    seen = (2.0, 2.0, 2.0, 14.0)
    ours = simulate(Load(1, 1, Handover(0, seen=seen)), days=20_000).over
    theirs = over_by_events(people=1, per_slot=1, service=lambda dice: dice.choice(seen), spread=5)
    assert ours == pytest.approx(theirs, abs=0.006)
    assert abs(ours - simulate(Load(1, 1, Handover(5))).over) > 0.02, "the mean alone would do"


def test_everybody_on_the_stroke_of_the_slot_waits_more_than_with_a_little_scatter() -> None:
    punctual, scattered = (simulate(Load(2, 3, Handover(6.5), spread=spread)).over for spread in (0, 5))
    assert punctual > scattered + 0.1  # the published table says .171 and .043
    split = simulate(Load(2, 4, Handover(6.5), spread=0, starts=2)).over
    assert split < simulate(Load(2, 4, Handover(6.5), spread=0)).over - 0.3


def test_whoever_waits_exactly_the_limit_does_not_count_as_waiting_longer() -> None:
    """Two come on the stroke to one person who takes five minutes: worked out by hand."""
    load = Load(1, 2, Handover(5, cv=0), spread=0, limit=5)
    assert simulate(load, days=10).over == 0 and simulate(replace(load, limit=4.99), days=10).over == 0.5


def test_without_a_time_erlangs_formula_and_the_played_days_agree() -> None:
    """M/M/2: exponential handovers are drawn from here, so nothing of the formula stands in the days."""
    dice = random.Random(3)
    seen = tuple(dice.expovariate(1 / 6.5) for _ in range(50_000))
    line = Line(rate=1.92 / 15, minutes=6.5, people=2)
    found = simulate(Load(2, 0, Handover(0, seen=seen), slots=2000, walk_ins=1.92), days=100)
    assert found.over == pytest.approx(line.over(5), abs=0.006)
    assert found.mean == pytest.approx(line.mean_wait, rel=0.05)


def test_the_most_that_may_walk_in_is_that_of_the_published_row() -> None:
    """M/M/c, at most a tenth waits over 5 minutes: arrivals in 15 minutes for handovers of 5, 6.5 and 8 minutes."""
    row = {1: (0.65, 0.43, 0.32), 2: (2.78, 1.92, 1.45)}
    for people, expected in row.items():
        found = [15 * most_walk_ins(minutes, people, limit=5, target=0.1) for minutes in (5, 6.5, 8)]
        assert found == pytest.approx(expected, abs=0.01)
    assert erlang_b(20, 18) == pytest.approx(0.22126, abs=1e-6)  # a published table of Erlang B
    assert Line(3, 1, 2).over(5) == 1 and math.isinf(Line(3, 1, 2).mean_wait)


@settings(max_examples=40, deadline=None)
@given(
    people=st.integers(1, 4), number=st.integers(1, 5), minutes=st.floats(1, 15), spread=st.sampled_from([0, 3, 8]),
    no_show=st.sampled_from([0.0, 0.2]), walk_ins=st.sampled_from([0.0, 0.4]),
)  # fmt: skip
def test_one_more_person_never_makes_anybody_wait_longer_and_one_more_customer_never_less(
    people: int, number: int, minutes: float, spread: float, no_show: float, walk_ins: float
) -> None:
    load = Load(people, number, Handover(minutes), spread=spread, no_show=no_show, walk_ins=walk_ins)
    found = simulate(load, days=300)
    assert 0 <= found.over <= 1 and found.mean >= 0
    assert found == simulate(load, days=300), "the same input gave another answer"
    assert simulate(replace(load, people=people + 1), days=300).mean <= found.mean + 1e-9
    assert simulate(replace(load, per_slot=number + 1), days=300).over >= found.over - 0.08  # other draws


def test_a_table_ends_where_it_no_longer_tells_anything_and_the_largest_load_is_its_last_good_row() -> None:
    load = Load(2, 0, Handover(6.5))
    rows = table(load)
    assert [number for number, _ in rows] == [1, 2, 3, 4, 5]
    assert all(one.over < other.over for (_, one), (_, other) in pairwise(rows[1:]))
    assert largest_load(load, target=0.1) == 3 and largest_load(Load(1, 0, Handover(6.5)), target=0.1) == 1
    assert largest_load(Load(1, 0, Handover(12)), target=0.1) == 0
    assert largest_load(Load(4, 0, Handover(0.5)), target=0.1, most=6) == 6
    assert simulate(Load(1, 2, Handover(5), no_show=1)).customers == 0
    assert waits_of(load) is waits_of(load)


def test_numpy_is_loaded_only_once_days_are_played() -> None:
    code = (
        "import sys, notify.forecast.counter as c; assert 'numpy' not in sys.modules;"
        "c.simulate(c.Load(1, 1, c.Handover(5)), days=2); assert 'numpy' in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

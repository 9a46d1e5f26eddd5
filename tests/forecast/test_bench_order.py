"""Orders of the bench: exact rules against brute force, the search against engine and rules, on invented afternoons."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.forecast import order as orders
from notify.forecast import ready
from notify.forecast.order import suggest
from notify.forecast.order_rules import edd, moore_hodgson, spt
from notify.forecast.order_search import ENOUGH, WHYS, Goals, judge, search
from notify.forecast.replay import Replay
from tests.parts.bench_table import (
    HOUR,
    OPENING,
    Afternoon,
    afternoon,
    ends,
    every_order,
    fewest_late,
    replay,
    searched,
)  # fmt: skip


def table(day: Afternoon, *, paths: int = 200, seed: int = 3) -> Replay:
    return Replay(ready.play(day.bench, day.jobs, day.parcels, {}, paths=paths, seed=seed))


SMALL = st.lists(st.tuples(st.integers(1, 30), st.integers(1, 90)), min_size=1, max_size=6)


@settings(max_examples=40, deadline=None)
@given(SMALL)
def test_the_exact_rules_are_optimal_by_brute_force(rows: list[tuple[int, int]]) -> None:
    """Moore 1968, Jackson 1955 and Smith 1956, each for what it claims; late sets tried as subsets, not as orders."""
    work, dues = [float(one) for one, _ in rows], [float(one) for _, one in rows]
    bench = replay(work)
    late = int((ends(bench, moore_hodgson(work, dues)) > np.array(dues)).sum())
    assert late == _fewest_late_by_subsets(work, dues)
    by_hand = [_ends_by_hand(one, work) for one in every_order(len(work))] if len(work) <= 5 else []
    if by_hand:
        assert float((ends(bench, edd(dues)) - dues).max()) == min(float((one - dues).max()) for one in by_hand)
        assert float(ends(bench, spt(work)).sum()) == min(float(one.sum()) for one in by_hand)


def _fewest_late_by_subsets(work: list[float], dues: list[float]) -> int:
    """The largest set that can all be in time goes by due time (Jackson); so look for the largest such set."""
    jobs = range(len(work))
    for size in range(len(work), -1, -1):
        for some in combinations(jobs, size):
            clock = 0.0
            for job in sorted(some, key=lambda one: dues[one]):
                clock += work[job]
                if clock > dues[job]:
                    break
            else:
                return len(work) - size
    return len(work)


def _ends_by_hand(order: Sequence[int], work: list[float]) -> Any:
    ended = np.empty(len(work))
    ended[list(order)] = np.cumsum([work[job] for job in order])
    return ended


@pytest.mark.long
@settings(max_examples=25, deadline=None)
@given(SMALL.filter(lambda rows: len(rows) <= 5), st.integers(1, 2), st.data())
def test_the_search_finds_what_trying_every_order_finds_in_nearly_all_small_cases(
    rows: list[tuple[int, int]], machines: int, data: st.DataObject
) -> None:
    work, dues = [float(one) for one, _ in rows], [float(one) for _, one in rows]
    releases = [float(data.draw(st.integers(0, 20))) for _ in rows]
    bench = replay(work, releases=releases, machines=machines)
    found = int((searched(bench, work, dues, releases) > np.array(dues)).sum())
    assert fewest_late(bench, dues) <= found <= fewest_late(bench, dues) + 1  # it is a search, and says so


@pytest.mark.parametrize(("people", "apart"), [(1, False), (2, False), (3, True)])
def test_another_order_replayed_is_what_the_engine_plays_in_that_order(people: int, apart: bool) -> None:
    day = afternoon(5, people=people, apart=apart)
    running = replace(day.jobs[3], by=people - 1, spent=600.0, parcels=())
    day = replace(day, jobs=(*day.jobs[:3], running, *day.jobs[4:]))
    again, chance = table(day), random.Random(1)
    latest = again.latest(day.dues)[:, None]
    for _ in range(4):
        waiting = [n for n in range(12) if n != 3]
        chance.shuffle(waiting)
        anew = ready.play(day.bench, [day.jobs[3], *(day.jobs[n] for n in waiting)], day.parcels, {}, paths=200, seed=3)
        in_time = anew.ready <= np.array([day.dues[3], *(day.dues[n] for n in waiting)])[:, None]
        ended = again(waiting)
        assert np.array_equal(in_time, (ended <= latest)[[3, *waiting]]), "in time or not, on every path"
        scale = ended if again.axis is None else again.axis.finish(ended)
        assert np.array_equal(anew.ended, scale[[3, *waiting]])


def test_a_suggestion_touches_no_running_job_and_nobody_who_is_held() -> None:
    day = afternoon(2)
    on_bench = replace(day.jobs[0], by=0, spent=300.0, parcels=())
    jobs = (on_bench, *day.jobs[1:])
    found = suggest(day.bench, jobs, day.parcels, {}, day.goals, held=3)
    assert found is not None and found.gain >= ENOUGH
    assert found.order[:3] == ("job 1", "job 2", "job 3") and "job 0" not in found.order
    assert sorted(found.order) == sorted(job.id for job in jobs[1:]) and found.moved in found.order[3:]


@pytest.mark.long
def test_the_same_facts_give_the_same_suggestion_and_a_good_order_none() -> None:
    day = afternoon(4)
    first, second = (suggest(day.bench, day.jobs, day.parcels, {}, day.goals, seed=8) for _ in range(2))
    assert first is not None and first == second
    by_id = {job.id: job for job in day.jobs}
    taken = tuple(by_id[one] for one in first.order)
    again = suggest(day.bench, taken, day.parcels, {}, day.goals, seed=8)
    assert again is None or again.gain < first.gain / 2, "whoever took it is not asked for as much again"


def test_without_anything_to_gain_there_is_no_suggestion() -> None:
    day = afternoon(1, jobs=6)
    easy = {job.id: (OPENING + 20 * 24 * HOUR, True) for job in day.jobs}
    lost = {job.id: (OPENING - HOUR, True) for job in day.jobs}
    unpromised = {job.id: (due, False) for job, due in zip(day.jobs, day.dues, strict=True)}
    for goals in (easy, lost, unpromised):
        assert suggest(day.bench, day.jobs, day.parcels, {}, goals) is None
    assert suggest(day.bench, (), (), {}, {}) is None


def test_a_job_that_cannot_be_kept_any_more_is_not_put_behind_all_others_for_nothing() -> None:
    """Of two that are late already the one that is later costs more each hour: so both still count (LATE)."""
    ended = np.array([[10 * HOUR], [12 * HOUR]])
    goals = Goals([1 * HOUR, 11 * HOUR], [True, True])
    assert judge(ended, goals).kept == 0
    assert judge(ended, goals).worth == pytest.approx(-0.01 * (9 + 1))
    assert judge(np.array([[math.inf], [1.0]]), goals).worth == pytest.approx(1 - 1.0), "never counts as 100 hours"


@pytest.mark.long
def test_of_a_long_line_the_first_thirty_are_looked_at_and_the_rest_stays_behind() -> None:
    day = afternoon(6, jobs=45, people=2)
    found = suggest(day.bench, day.jobs, day.parcels, {}, day.goals)
    assert found is not None and orders.MOST == 30
    assert set(found.order[:30]) == {f"job {n}" for n in range(30)}
    assert list(found.order[30:]) == [f"job {n}" for n in range(30, 45)]


# reason -> minutes of each job, hours until each promise, the job that is named: one story each, in words on the right.
WHY: dict[str, tuple[list[float], list[float], int]] = {
    "sooner": ([90, 20], [24, 1], 1),  # a long one stands before a promise that is near; it can wait
    "sooner_costs": ([60, 30], [1, 0.5], 1),  # the first one is wanted in an hour, but nobody was promised that
    "can_wait": ([90, 20, 20, 20], [24, 0.5, 0.8, 1.1], 0),  # one step back for the long one helps all three
    "late_anyway": ([600, 30, 30], [1, 1.2, 1.9], 0),
    "gives_way": ([60, 30, 30], [1, 0.5, 1], 0),  # one promise for two
}


@pytest.mark.parametrize("why", WHY)
def test_the_reason_names_the_job_whose_move_helps_and_what_it_costs(why: str) -> None:
    minutes, hours, moved = WHY[why]
    promised = [why != "sooner_costs", *([True] * (len(hours) - 1))]
    bench, goals = replay([one * 60.0 for one in minutes]), Goals([one * HOUR for one in hours], promised)
    found = search(bench, goals, tuple(range(len(minutes))), starts=[edd(goals.due)])
    assert found is not None and (found.why, found.moved) == (why, moved)
    assert set(WHY) == set(WHYS)


@pytest.mark.long
def test_the_search_keeps_more_promises_than_the_rules_on_forty_afternoons() -> None:
    """The facts (40 instances of their own): FIFO 6.14, EDD 7.23, Moore-Hodgson 8.92, search 9.16 of 12.

    What differs: our instances are drawn tighter, parts come by categories, proving and closing count, and the search
    says nothing when it gains less than a quarter of a promise. So only the order of the four is compared.
    """
    kept: dict[str, list[float]] = {"fifo": [], "edd": [], "moore_hodgson": [], "search": []}
    for seed in range(40):
        day = afternoon(100 + seed, people=1 + seed % 2)
        fifo = tuple(range(12))
        trial = table(day, paths=400)
        goals = Goals(trial.latest(day.dues).tolist(), [True] * 12)
        exact = orders.starts(trial, goals, fifo)
        found = suggest(day.bench, day.jobs, day.parcels, {}, day.goals)
        named = {job.id: number for number, job in enumerate(day.jobs)}
        rows: dict[str, Sequence[int]] = {"fifo": fifo, "edd": exact[0], "moore_hodgson": exact[2],
                "search": tuple(named[one] for one in found.order) if found else fifo}  # fmt: skip
        for name, order in rows.items():
            kept[name].append(day.kept(order))
    mean = {name: sum(found) / 40 for name, found in kept.items()}
    worse = sum(1 for a, b in zip(kept["edd"], kept["fifo"], strict=True) if a < b)
    print(f"FIGURE bench_order_kept instances=40 jobs=12 {' '.join(f'{name}={one:.2f}' for name, one in mean.items())} "
          f"edd_worse_than_fifo={worse}")  # fmt: skip
    assert mean["fifo"] < mean["moore_hodgson"] < mean["search"]
    assert mean["edd"] < mean["search"]
    assert min(b - a for a, b in zip(kept["fifo"], kept["search"], strict=True)) > -0.1, "never worse than it was"


def test_one_move_that_gains_nearly_as_much_is_told_instead_of_three() -> None:
    """A bench by hand: job 3 first gains a whole promise, two more swaps gain .05 between them."""

    def play(order: Sequence[int]) -> Any:
        tidy = (order.index(2) < order.index(1)) + (order.index(1) < order.index(0))
        share = {3: 1.0 if order[0] == 3 else 0.0, 0: 0.5 + 0.025 * tidy}
        paths = np.arange(1000) / 1000
        return np.array([np.where(paths < share.get(job, 0.5), 0.0, 9.0) for job in range(4)])

    found = search(play, Goals([1.0] * 4, [True] * 4), (0, 1, 2, 3), starts=[(3, 2, 1, 0)])
    assert found is not None and found.order == (3, 0, 1, 2) and found.moved == 3
    assert found.gain == pytest.approx(1.0)


@pytest.mark.long
def test_what_is_told_gains_enough_also_with_luck_it_was_not_found_by() -> None:
    """The best of hundreds looks better than it is: of benches at the edge some are found good and judged not to be."""
    for seed, jobs in ((310, 4), (337, 5), (348, 5), (350, 5)):  # found with .26 to .29, judged with less than .25
        day = afternoon(seed, jobs=jobs)
        found = suggest(day.bench, day.jobs, day.parcels, {}, day.goals, seed=seed)
        assert found is None or found.gain >= ENOUGH

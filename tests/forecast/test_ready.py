"""What the engine keeps to, and what no list scheduling keeps to.

Technicians do not idle and do not interrupt. Of such a bench holds, on every path:

- A job has no influence before it begins. So a later part never makes its own ticket begin earlier: until the earlier
  beginning both shops are the same, and what was not chosen then was not the best-ranked. With hours of one calendar it
  is not ready earlier either. With hours of their own it can be: whoever would have begun it goes home, and the one who
  takes it later stays.
- More work on a job changes nothing before its end, and never makes that earlier.
- With everything in hand and one calendar: less work makes no job begin later (the sorted instants at which technicians
  are free stay below, step by step), one more technician makes none later, and a job added at the end changes nobody.

As soon as something arrives later, none of the last three holds (Graham 1969, "Bounds on multiprocessing timing
anomalies", found such for precedence; from memory), nor does anything hold of other tickets: whoever is not idle may
just have begun a long, badly ranked job when a well-ranked part arrives. Small cases of each stand below.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.forecast import ready
from notify.forecast.axis import Axis
from notify.forecast.durations import Draws
from notify.forecast.ready import Bench, Const, Exponential, Gamma, Job, LogNormal, OfKind, Parcel, paths_for, play

ROUND_THE_CLOCK = Axis.of([(0.0, 1e8)])
SHOP = Axis.of([(day * 100.0, day * 100 + 60) for day in range(200)])  # 60 seconds of every 100

Jobs = list[tuple[int, int]]  # (work, released)
IN_HAND = st.lists(st.tuples(st.integers(1, 90), st.just(0)), min_size=1, max_size=7)
ARRIVING = st.lists(st.tuples(st.integers(1, 90), st.integers(0, 250)), min_size=1, max_size=7)
PEOPLE = st.integers(1, 4)


def played(jobs: Sequence[tuple[float, float]], *axes: Axis, names: str = "ABCDEFGHIJ") -> ready.Played:
    """Those (work, released), best-ranked first, without chance."""
    held = [Job(names[number], Const(work), released) for number, (work, released) in enumerate(jobs)]
    return play(Bench(0.0, axes, ROUND_THE_CLOCK), held, (), {}, paths=1, seed=1)


def times(jobs: Sequence[tuple[float, float]], *axes: Axis) -> list[float]:
    return [float(row[0]) for row in played(jobs, *axes).ready]


def begins(jobs: Sequence[tuple[float, float]], *axes: Axis) -> list[float]:
    return [float(row[0]) for row in played(jobs, *axes).started]


def changed(jobs: Jobs, number: int, *, work: int = 0, released: int = 0) -> Jobs:
    held = list(jobs)
    held[number] = (held[number][0] + work, held[number][1] + released)
    return held


@settings(max_examples=60, deadline=None)
@given(ARRIVING, PEOPLE, st.integers(0, 6), st.integers(1, 200))
def test_a_later_part_makes_its_own_ticket_neither_begin_nor_be_ready_earlier_in_common_hours(
    jobs: Jobs, people: int, which: int, later: int
) -> None:
    number, bench = which % len(jobs), (SHOP,) * people
    late = changed(jobs, number, released=later)
    assert begins(late, *bench)[number] >= begins(jobs, *bench)[number]
    assert times(late, *bench)[number] >= times(jobs, *bench)[number]


def _own_hours(first: int) -> Axis:
    return Axis.of([(first + day * 100.0, first + day * 100 + 45) for day in range(300)])


@settings(max_examples=60, deadline=None)
@given(ARRIVING, PEOPLE, st.integers(0, 6), st.integers(1, 200))
def test_a_later_part_makes_its_own_ticket_never_begin_earlier_whatever_the_hours(
    jobs: Jobs, people: int, which: int, later: int
) -> None:
    number, bench = which % len(jobs), tuple(_own_hours(13 * who) for who in range(people))
    assert begins(changed(jobs, number, released=later), *bench)[number] >= begins(jobs, *bench)[number]


def test_with_hours_of_their_own_a_later_part_can_make_its_own_ticket_ready_earlier() -> None:
    """The one who is free at 0 goes home at 10 until the next day; the other comes at 20."""
    goes, comes = Axis.of([(0, 10), (1000, 2000)]), Axis.of([(20, 100)])
    assert times([(30, 0)], goes, comes) == [1020]
    assert times([(30, 15)], goes, comes) == [50]


@settings(max_examples=60, deadline=None)
@given(ARRIVING, PEOPLE, st.integers(0, 6), st.integers(1, 90), st.booleans())
def test_more_work_on_a_job_never_makes_it_ready_earlier_and_changes_nothing_before(
    jobs: Jobs, people: int, which: int, more: int, own: bool
) -> None:
    number = which % len(jobs)
    bench = tuple(_own_hours(13 * who) for who in range(people)) if own else (SHOP,) * people
    short, long = played(jobs, *bench), played(changed(jobs, number, work=more), *bench)
    assert long.ready[number] >= short.ready[number]
    before = short.started <= short.started[number]
    assert (long.started[before] == short.started[before]).all()


@settings(max_examples=60, deadline=None)
@given(IN_HAND, PEOPLE, st.integers(1, 90))
def test_with_everything_in_hand_less_work_one_more_person_and_fewer_jobs_make_nobody_later(
    jobs: Jobs, people: int, more: int
) -> None:
    bench = (SHOP,) * people
    stands = begins(jobs, *bench)
    for number in range(len(jobs)):
        assert all(map(float.__ge__, begins(changed(jobs, number, work=more), *bench), stands))
    assert all(map(float.__le__, begins(jobs, *bench, SHOP), stands))
    assert begins([*jobs, (more, 0)], *bench)[:-1] == stands


def test_one_more_technician_can_make_a_ticket_later() -> None:
    """Alone, somebody is free when the best-ranked part comes at 60; two have just begun two long jobs by then."""
    jobs = [(10, 60), (30, 0), (30, 0), (200, 0), (200, 0)]
    assert times(jobs, ROUND_THE_CLOCK)[0] == 70
    assert times(jobs, ROUND_THE_CLOCK, ROUND_THE_CLOCK)[0] == 240


def test_a_job_ranked_last_can_delay_a_better_one_whose_part_comes_later() -> None:
    assert times([(10, 5)], ROUND_THE_CLOCK) == [15]
    assert times([(10, 5), (60, 0)], ROUND_THE_CLOCK) == [70, 60]


def test_a_longer_job_can_make_another_ticket_earlier() -> None:
    """A ends just before B's part comes, and C is begun; a moment longer, and B comes first."""
    assert times([(10, 0), (20, 12), (90, 0)], ROUND_THE_CLOCK) == [10, 120, 100]
    assert times([(12, 0), (20, 12), (90, 0)], ROUND_THE_CLOCK) == [12, 32, 122]


def test_less_work_can_make_the_whole_longer() -> None:
    """Found by trying all small cases: the third job's 10 seconds less cost the bench 10 seconds more."""
    both = (ROUND_THE_CLOCK, ROUND_THE_CLOCK)
    assert max(times([(60, 0), (50, 50), (30, 20), (20, 40)], *both)) == 100
    assert max(times([(60, 0), (50, 50), (20, 20), (20, 40)], *both)) == 110


def test_a_later_part_can_make_another_ticket_earlier_or_later_and_the_whole_shorter() -> None:
    both = (ROUND_THE_CLOCK, ROUND_THE_CLOCK)
    assert times([(10, 0), (30, 0), (50, 0)], *both) == [10, 30, 60]
    assert times([(10, 0), (30, 10), (50, 0)], *both) == [10, 40, 50]
    assert times([(30, 0), (20, 0)], ROUND_THE_CLOCK) == [30, 50]
    assert times([(30, 10), (20, 0)], ROUND_THE_CLOCK) == [50, 20]
    assert times([(30, 15), (20, 20), (5, 0)], ROUND_THE_CLOCK) == [45, 65, 5]
    assert times([(30, 25), (20, 20), (5, 0)], ROUND_THE_CLOCK) == [70, 40, 5]


# Draws.

MANY = [Job(f"J{n}", LogNormal(3, 0.5), 0.0, ("P",) if n % 3 == 0 else ()) for n in range(9)]
BOX = Parcel("P", (50.0, 5000.0, None), (0.5, 0.3, 0.2))
BENCH = Bench(0.0, (SHOP, SHOP), SHOP)


def test_another_job_another_order_or_another_parcel_changes_no_draw_of_the_others() -> None:
    other = Job("new", LogNormal(3, 0.5), 0.0, ("Q",))
    box = Parcel("Q", (70.0, 90.0), (0.5, 0.5))
    was = play(BENCH, MANY, [BOX], {}, paths=50, seed=3)
    now = play(BENCH, [other, *reversed(MANY)], [box, replace(BOX)], {}, paths=50, seed=3)
    assert (now.busy[1:] == was.busy[::-1]).all()
    assert (now.parts_in[1:] == was.parts_in[::-1]).all()
    again = play(BENCH, MANY, {"P": BOX}, {}, paths=50, seed=3)
    assert (again.ready == was.ready).all()
    other_seed = play(BENCH, MANY, [BOX], {}, paths=50, seed=4)
    assert (other_seed.busy != was.busy).mean() > 0.9


def test_jobs_of_one_parcel_share_its_delivery_on_each_path() -> None:
    was = play(BENCH, MANY, [BOX], {}, paths=4000, seed=3)
    assert (was.parts_in[0] == was.parts_in[3]).all() and (was.parts_in[1] == 0).all()
    shares = [float(np.mean(was.parts_in[0] == at)) for at in (50.0, 5000.0, math.inf)]
    assert shares == pytest.approx([0.5, 0.3, 0.2], abs=4 * math.sqrt(0.25 / 4000))
    assert np.isinf(was.ready[0][np.isinf(was.parts_in[0])]).all()


def test_a_running_job_is_finished_by_whoever_is_on_it_and_one_put_back_has_less_left() -> None:
    jobs = [
        Job("next", Const(20), 0.0), Job("on", Const(50), 0.0, spent=30, by=1), Job("too", Const(9), 0.0, by=1),
        Job("back", Const(50), 0.0, spent=45), Job("over", Const(50), 0.0, spent=80),
    ]  # fmt: skip
    found = play(Bench(0.0, (ROUND_THE_CLOCK,) * 2, ROUND_THE_CLOCK), jobs, (), {}, paths=1, seed=1)
    # The second one works on "on" until 20 and "too" until 29; the first takes "next", "back" and "over".
    assert found.ready[:, 0].tolist() == [20, 20, 29, 25, 26]
    assert found.busy[:, 0].tolist() == [20, 20, 9, 5, 1]


def test_proving_takes_open_time_of_the_counter_also_when_the_technician_has_gone() -> None:
    bench = Bench(0.0, (Axis.of([(0, 50), (500, 560)]),), SHOP, proving=15.0)
    found = play(bench, [Job("A", Const(50), 0.0), Job("B", Const(5), 0.0)], (), {}, paths=1, seed=1)
    # A: the counter shuts at 60, opens at 100. B: begun at 500.
    assert found.ready[:, 0].tolist() == [105, 520] and found.ended[:, 0].tolist() == [50, 505]


def test_work_ends_at_closing_and_the_next_begins_at_the_opening_and_nothing_begins_before_now() -> None:
    jobs = [(60, 0), (10, 0)]
    assert (times(jobs, SHOP), begins(jobs, SHOP)) == ([60, 110], [0, 100])
    running = [Job("A", Const(70), 0.0, spent=65, by=0)]
    shut = play(Bench(80.0, (SHOP,), SHOP), running, (), {}, paths=1, seed=1)  # by night: it goes on at 100
    assert (shut.started[0, 0], shut.ready[0, 0]) == (100, 105)
    for at in (130.0, 160.0):
        assert play(Bench(at, (SHOP,), SHOP), running, (), {}, paths=1, seed=1).started.min() >= at


@pytest.mark.parametrize("now", [-1e12, 1e12, 4e9])
def test_a_clock_that_is_far_off_gives_waiting_for_opening_or_never_and_no_crash(now: float) -> None:
    jobs = [Job("A", Const(5), 0.0), Job("B", Const(5), 0.0, by=0)]
    for axes in ((SHOP,), (SHOP, ROUND_THE_CLOCK)):
        found = play(Bench(now, axes, SHOP), jobs, (), {}, paths=1, seed=1).ready[:, 0]
        assert (np.isinf(found) if now > 0 else (found <= 10) & (found >= 5)).all(), found


def test_where_nobody_works_or_nothing_is_open_nothing_is_ever_ready() -> None:
    shut = Axis.of([])
    jobs = [Job("A", Const(5), 0.0)]
    for axes in ((), (shut,), (shut, shut), (shut, Axis.of([(-9, -5)]))):
        assert np.isinf(play(Bench(0.0, axes, shut), jobs, (), {}, paths=3, seed=1).ready).all()
    assert play(Bench(0.0, (SHOP,), SHOP), (), (), {}, paths=3, seed=1).ready.shape == (0, 3)


BAD: list[tuple[str, Any]] = [
    ("negative work", lambda: Const(-1)),
    ("work that is no number", lambda: Const(math.nan)),
    ("endless work", lambda: Const(math.inf)),
    ("no spread", lambda: LogNormal(3, 0)),
    ("a mean that is no number", lambda: LogNormal(math.nan, 1)),
    ("no shape", lambda: Gamma(0, 1)),
    ("a negative mean", lambda: Exponential(-3)),
    ("released at no time", lambda: Job("A", Const(1), math.nan)),
    ("negative time spent", lambda: Job("A", Const(1), 0.0, spent=-1)),
    ("shares that are not one", lambda: Parcel("P", (1.0, 2.0), (0.5, 0.4))),
    ("a share below nothing", lambda: Parcel("P", (1.0, 2.0), (1.5, -0.5))),
    ("arrivals without shares", lambda: Parcel("P", (1.0,), (0.5, 0.5))),
    ("now at no time", lambda: Bench(math.nan, (SHOP,), SHOP)),
    ("six people", lambda: Bench(0.0, (SHOP,) * 6, SHOP)),
    ("negative proving", lambda: Bench(0.0, (SHOP,), SHOP, proving=-1)),
    ("a job twice", lambda: played([(1, 0), (1, 0)], SHOP, names="AA")),
    ("a parcel nobody knows", lambda: play(BENCH, MANY, (), {}, paths=1, seed=1)),
    ("on the bench of nobody", lambda: play(BENCH, [Job("A", Const(1), 0.0, by=2)], (), {}, paths=1, seed=1)),
    ("a kind without draws", lambda: play(BENCH, [Job("A", OfKind("k"), 0.0)], (), {}, paths=1, seed=1)),
    ("a gamma begun", lambda: play(BENCH, [Job("A", Gamma(2, 3), 0.0, spent=9)], (), {}, paths=1, seed=1)),
    ("draws of other paths", lambda: play(
        BENCH, [Job("A", OfKind("k"), 0.0)], (), {"k": Draws(np.zeros(3), np.ones(3))}, paths=2, seed=1)),
    ("no path", lambda: play(BENCH, MANY, [BOX], {}, paths=0, seed=1)),
    ("10,000 jobs", lambda: play(
        BENCH, [Job(str(n), Const(1), 0.0) for n in range(10_000)], (), {}, paths=1, seed=1)),
    ("paths for 10,000 jobs", lambda: paths_for(10_000)),
]  # fmt: skip


@pytest.mark.parametrize(("what", "make"), BAD, ids=[what for what, _ in BAD])
def test_what_cannot_be_meant_is_refused_by_name(what: str, make: Any) -> None:
    with pytest.raises(ValueError, match=r"cannot be meant|cannot be drawn|share|technicians|twice|waited for|nobody|"
                       r"no draws|jobs|broadcast"):  # fmt: skip
        make()


def test_the_largest_shop_is_played_and_fewer_paths_the_larger_it_is() -> None:
    assert [paths_for(jobs) for jobs in (0, 200, 201, 500, 501, 1000)] == [4000, 4000, 2000, 2000, 1000, 1000]
    jobs = [Job(str(n), Const(10), 0.0) for n in range(ready.MOST_JOBS)]
    assert play(Bench(0.0, (SHOP,) * 5, SHOP), jobs, (), {}, paths=1, seed=1).ready.max() == 3300 + 20


def test_work_far_beyond_any_repair_is_cut_where_durations_say() -> None:
    found = play(BENCH, [Job("A", LogNormal(3, 30.0), 0.0)], (), {}, paths=4000, seed=1).busy
    assert found.max() == 16 * 3600 and found.min() >= 1
    spent = play(BENCH, [replace(MANY[1], spent=1e9)], (), {}, paths=100, seed=1).busy
    assert np.isfinite(spent).all() and spent.max() <= 16 * 3600


def test_two_boxes_come_late_each_on_its_own_and_two_parts_of_one_box_together() -> None:
    """Independent boxes are both in time as often as the product of their shares says; one box is one draw."""
    boxes = [Parcel(name, (10.0, 5000.0), (0.7, 0.3)) for name in ("left", "right")]
    jobs = [
        Job("a", Const(1), 0.0, ("left",)), Job("b", Const(1), 0.0, ("right",)), Job("c", Const(1), 0.0, ("left",)),
    ]  # fmt: skip
    parts_in = play(Bench(0.0, (ROUND_THE_CLOCK,), ROUND_THE_CLOCK), jobs, boxes, {}, paths=4000, seed=5).parts_in
    left, right, same = parts_in < 100
    assert np.array_equal(left, same)
    assert abs((left & right).mean() - 0.49) < 4 * (0.49 * 0.51 / 4000) ** 0.5
    assert abs(left.mean() - 0.7) < 4 * (0.21 / 4000) ** 0.5

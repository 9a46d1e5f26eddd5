"""How full the bench will be: a day worked out by hand, the same hours by SimPy, and what must hold of any bench."""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np
import pytest

from notify.forecast.axis import Axis
from notify.forecast.load import done_by, load
from notify.forecast.ready import Bench, Const, Job, Parcel, Played, play
from tests.forecast.by_events import Duty, Run, Steps, Task
from tests.forecast.random_shops import DAY, Shop, ours, shop_of

pytestmark = pytest.mark.usefixtures("tzdata_only")
HOUR = 3600.0


def played(bench: Bench, *jobs: Job, parcels: tuple[Parcel, ...] = ()) -> Played:
    return play(bench, jobs, parcels, {}, paths=2, seed=1)


def test_two_days_of_one_technician_come_to_the_hours_counted_by_hand() -> None:
    """Open 9 to 18 on two days, now 10. By hand: of the 8 hours left today 5 and 2 are work; the third job's part
    comes at 16 tomorrow, so that 2 of its 3 hours fit in before closing. Two paths are too few for a 90 % quantile."""
    axis = Axis.of([(9 * HOUR, 18 * HOUR), (33 * HOUR, 42 * HOUR)])
    bench = Bench(10 * HOUR, (axis,), axis)
    late = Job("c", Const(3 * HOUR), 0, ("p",))
    ran = played(bench, Job("a", Const(5 * HOUR), 0), Job("b", Const(2 * HOUR), 0), late,
                 parcels=(Parcel("p", (40 * HOUR,), (1.0,)),))  # fmt: skip
    today, tomorrow = load(bench, ran, [10 * HOUR, 24 * HOUR, 48 * HOUR])
    assert (today.room, today.mean, today.low, today.high) == (8 * HOUR, 7 * HOUR, 7 * HOUR, math.inf)
    assert (tomorrow.room, tomorrow.mean) == (9 * HOUR, 2 * HOUR)


class Watched(Run):
    """The play by events, which also writes down when somebody worked."""

    def __init__(self, *given: Any) -> None:
        self.stints: list[tuple[float, float]] = []
        super().__init__(*given)

    def _spends(self, duty: Duty, seconds: float) -> Steps:
        while seconds > 0:
            if not duty.on:
                yield duty.changed
                continue
            began = self.env.now
            yield self.env.any_of([self.env.timeout(seconds), duty.changed])
            seconds -= self.env.now - began
            if duty is not self.counter:
                self.stints.append((began, self.env.now))

    def worked(self, first: float, last: float) -> float:
        return sum(max(0.0, min(end, last) - max(start, first)) for start, end in self.stints)


def _watched(shop: Shop) -> Watched:
    tasks = [
        Task(job.id, max(1.0, float(round(job.duration.seconds - job.spent))), job.released, job.parcels, job.by)
        for job in shop.jobs
        if isinstance(job.duration, Const)
    ]
    run = Watched(shop.place, tasks, {one.key: one.arrivals[0] for one in shop.parcels}, shop.now)
    run.until_all(shop.now + 40 * DAY)
    return run


@pytest.mark.long
def test_on_random_shops_each_day_takes_the_seconds_that_were_worked_by_events() -> None:
    days = apart = 0
    for seed in range(60):
        shop = shop_of(seed, chance=False)
        ran, run = ours(shop, paths=2), _watched(shop)
        edges = [shop.now + DAY * n for n in range(15)]
        taken = np.diff(done_by(ran, edges), axis=0)[:, 0]
        for number, seconds in enumerate(taken):
            assert seconds == pytest.approx(run.worked(edges[number], edges[number + 1]), abs=1), (seed, number)
        days, apart = days + len(taken), apart + (len(set(ran.bench.axes)) > 1)
    print(f"FIGURE bench_load shops=60 own_hours={apart} days={days} differing=0")
    assert apart > 5


@pytest.mark.long
def test_no_day_takes_more_than_there_is_and_all_days_together_take_all_the_work() -> None:
    for seed in range(100, 112):
        shop = shop_of(seed, chance=True)
        ran = ours(shop, paths=50)
        edges = [shop.now + DAY * n for n in range(121)]
        done = done_by(ran, edges)
        room = [one.room for one in load(ran.bench, ran, edges)]
        assert (np.diff(done, axis=0) <= np.array(room)[:, None] + 1e-3).all(), seed
        ended = np.isfinite(ran.ended) & (ran.ended <= edges[-1])
        assert (done[-1] >= np.where(ended, ran.busy, 0).sum(axis=0) - 1e-3).all(), seed
        assert (done[-1] <= ran.busy.sum(axis=0) + 1e-3).all(), seed


def test_an_empty_bench_and_a_bench_of_nobody_have_no_load() -> None:
    axis = Axis.of([(0.0, HOUR)])
    assert [one.mean for one in load(Bench(0, (axis, axis), axis), None, [0.0, 1800.0, HOUR])] == [0, 0]
    assert [one.room for one in load(Bench(0, (axis, axis), axis), None, [0.0, 1800.0, HOUR])] == [HOUR, HOUR]
    assert [one.room for one in load(Bench(0, (), axis), None, [0.0, HOUR])] == [0]
    nobody = played(Bench(0, (), axis), Job("a", Const(60), 0))
    assert [(one.room, one.mean) for one in load(nobody.bench, nobody, [0.0, HOUR])] == [(0, 0)]


def test_the_range_holds_eight_of_ten_paths() -> None:
    axis = Axis.of([(0.0, 100 * HOUR)])
    bench = Bench(0, (axis,), axis)
    chance = random.Random(5)
    shares = (0.25, 0.25, 0.5)
    late = Parcel("p", (0.0, 50 * HOUR, None), shares)
    ran = play(bench, [Job("a", Const(10 * HOUR), 0, ("p",))], [late], {}, paths=4000, seed=chance.randrange(99))
    (first, rest) = load(bench, ran, [0.0, 20 * HOUR, 100 * HOUR])
    assert first.mean == pytest.approx(2.5 * HOUR, abs=0.3 * HOUR) and (first.low, first.high) == (0, 10 * HOUR)
    assert rest.mean == pytest.approx(2.5 * HOUR, abs=0.3 * HOUR)

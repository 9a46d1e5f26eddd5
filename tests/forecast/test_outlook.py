"""What is said of each ticket: quantiles against scipy, promise, chance, what decides, and why there is none."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import lognorm

from notify.core.hours import Counter, Hours
from notify.core.ready import LEVELS, Decides, Forecast, Without, pack, unpack
from notify.forecast.axis import Axis, axis_of
from notify.forecast.ready import Bench, Const, Job, LogNormal, Parcel, forecasts, play

pytestmark = pytest.mark.usefixtures("tzdata_only")

NOW = datetime(2026, 3, 3, 9, tzinfo=UTC)  # a Tuesday, 10:00 in Berlin
HOURS = tuple(Hours(weekday, time(9), time(18), 1, date(2000, 1, 1)) for weekday in range(6))
COUNTER = Counter("Europe/Berlin", HOURS)
AXIS = axis_of(COUNTER, NOW)
BENCH = Bench(NOW.timestamp(), (AXIS,), AXIS)


def at(hour: int, minute: int = 0, *, day: int = 3) -> datetime:
    return datetime(2026, 3, day, hour - 1, minute, tzinfo=UTC)


def told(
    *jobs: Job, bench: Bench = BENCH, parcels: tuple[Parcel, ...] = (), counter: Counter = COUNTER,
    promises: dict[str, datetime] | None = None, level: float = 0.9, wanted: float | None = None,
) -> list[Forecast]:  # fmt: skip
    played = play(bench, jobs, parcels, {}, paths=4000, seed=7)
    return list(
        forecasts(
            played,
            made_at=NOW,
            counter=counter,
            level=level,
            minutes=30,
            promises=promises or {},
            seed=7,
            inputs="h",
            wanted=wanted,
        )
    )


def test_the_grid_is_the_distributions_and_the_promise_the_next_tick_after_its_quantile() -> None:
    [found] = told(Job("A", LogNormal(math.log(30), 0.5), 0.0), promises={"A": at(10, 30)})
    assert (found.ticket_id, found.made_at, found.without, found.inputs) == ("A", NOW, None, "h")
    exact = lognorm(0.5, scale=30)
    for level, moment in zip(LEVELS, found.grid, strict=True):
        minutes = (moment - NOW) / timedelta(minutes=1)
        # Four standard errors of a sample quantile, and the second that is rounded up.
        allowed = 4 * math.sqrt(level * (1 - level) / 4000) / exact.pdf(exact.ppf(level)) + 1 / 60
        assert abs(minutes - exact.ppf(level)) < allowed, level
    assert found.quantile_at == found.at(0.9)
    assert found.promise_at == at(11) and found.level == 0.9  # the quantile is 57 minutes off
    assert found.chance == pytest.approx(0.5, abs=4 * math.sqrt(0.25 / 4000))
    assert all(early <= late for early, late in pairwise(found.grid))
    assert unpack(pack(found.grid)) == found.grid


def test_a_promise_that_is_kept_for_certain_or_never_has_that_chance_and_none_has_none() -> None:
    jobs = [Job(name, Const(600), 0.0) for name in "ABC"]
    first, second, third = told(*jobs, promises={"A": at(10, 10), "B": at(10, 19)})
    assert (first.chance, second.chance, third.chance) == (1.0, 0.0, None)


def test_what_decides_is_the_longest_of_part_line_and_work_in_open_time() -> None:
    overnight = Parcel("P", (at(10, day=4).timestamp(),), (1.0,))
    found = told(
        Job("hands", Const(9000), 0.0, by=0), Job("line", Const(600), 0.0), Job("part", Const(600), 0.0, ("P",)),
        parcels=(overnight,),
    )  # fmt: skip
    assert [one.decides for one in found] == [Decides.HANDS, Decides.LINE, Decides.PART]
    # The part comes while the shop is shut: of the time until then only what is open counts.
    early = Parcel("P", (at(8, day=4).timestamp(),), (1.0,))
    [only] = told(Job("A", Const(9 * 3600), 0.0, ("P",)), parcels=(early,))
    assert only.decides is Decides.WORK


BACK = Parcel("P", (at(10, day=4).timestamp(), None), (0.85, 0.15))
NEVER = Axis.of([])


@pytest.mark.parametrize(
    ("bench", "job", "why"),
    [
        (BENCH, Job("A", Const(60), 0.0, ("P",)), Without.BACK_ORDERED),
        (replace(BENCH, axes=()), Job("A", Const(60), 0.0), Without.NOBODY),
        (replace(BENCH, axes=(NEVER, Axis.of([(0.0, 9.0)]))), Job("A", Const(60), 0.0), Without.NOBODY),
        (replace(BENCH, axes=(NEVER,), counter=NEVER), Job("A", Const(60), 0.0), Without.SHUT),
        (BENCH, Job("A", Const(1e9), 0.0), Without.FAR),
        (BENCH, Job("A", Const(60), NOW.timestamp() + 1e9), Without.FAR),
    ],
)
def test_without_a_time_the_reason_is_told_and_no_far_date(bench: Bench, job: Job, why: Without) -> None:
    [found] = told(job, bench=bench, parcels=(BACK,), promises={"A": at(10, day=30)})
    assert (found.without, found.grid, found.quantile_at, found.promise_at) == (why, (), None, None)
    assert found.chance is not None and found.chance <= 0.9  # what was promised has its chance all the same


def test_a_part_that_rarely_never_comes_still_has_a_time_and_the_grid_ends_with_the_hours() -> None:
    rare = replace(BACK, shares=(0.93, 0.07))
    [found] = told(Job("A", Const(60), 0.0, ("P",)), parcels=(rare,))
    assert found.without is None and found.promise_at == at(10, 30, day=4)
    assert found.grid[-1] == datetime.fromtimestamp(AXIS.end, UTC) and found.grid[-2] == at(10, 1, day=4)


def test_a_correction_to_almost_certain_asks_for_no_part_that_may_never_come() -> None:
    waits = Job("A", LogNormal(math.log(30), 0.5), 0.0, ("P",))
    rare, often = replace(BACK, shares=(0.95, 0.05)), replace(BACK, shares=(0.85, 0.15))
    [uncorrected], [corrected], [hopeless] = (
        told(waits, parcels=(parcel,), level=0.99, wanted=wanted)
        for parcel, wanted in ((rare, None), (rare, 0.9), (often, 0.9))
    )
    assert uncorrected.without is hopeless.without is Without.BACK_ORDERED
    # Of the paths on which it comes 99 of 100 are done in 96 minutes: the quantile of the lognormal, by scipy.
    exact = timedelta(minutes=float(lognorm(0.5, scale=30).ppf(0.99)))
    assert corrected.quantile_at is not None and abs(corrected.quantile_at - at(10, day=4) - exact) < timedelta(
        minutes=9
    )
    assert corrected.level == pytest.approx(0.99 * 0.95, abs=0.01)
    # Where every part is here nothing changes, nor where less is asked than was wanted.
    for level, wanted in ((0.99, 0.9), (0.8, 0.9)):
        assert [one.level for one in told(Job("B", Const(60), 0.0), level=level, wanted=wanted)] == [level]


def test_no_device_is_no_forecast() -> None:
    assert told() == []
    assert np.isfinite(AXIS.end)

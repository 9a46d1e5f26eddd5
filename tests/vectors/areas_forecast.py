"""Adapters for the forecast: ready times to the second, quantiles and chances of played shops, ticks, open minutes.

Where chance is in it, 4000 paths are played and the case's own tolerance for so many is asked for.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from notify.core.hours import Counter, Hours
from notify.core.working_days import Supplier, WorkingDays, arrival
from notify.forecast import promise, ready
from notify.forecast.axis import Axis, axis_of
from notify.forecast.durations import Nig, draw
from tests.vectors.cases import FOLDER

Given = dict[str, Any]
SEED = 20260303
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LONG_AGO = date(2000, 1, 1)


def exactly(given: Given, expect: Given) -> None:
    """Every path of a shop without chance has each device ready at its second."""
    played, jobs = _play(given, paths=20)
    for name, local in expect["ready"].items():
        row = played.ready[jobs.index(name)]
        assert np.all(row == row[0]) and row[0] == datetime.fromisoformat(local).timestamp(), f"{name}: {row[0]}"
    for name, local in expect.get("ready_before", {}).items():
        assert played.ready[jobs.index(name)].max() < datetime.fromisoformat(local).timestamp()


def by_chance(given: Given, expect: Given) -> None:
    """Quantiles in open minutes after now."""
    allowed = _tolerance(given)
    sample = _bench_and_part(given) if "bench_busy" in given else _asked(given)
    for level, minutes in expect["quantiles"].items():
        off = promise.quantile(sample, float(level)) - minutes
        assert abs(off) <= allowed[level], f"at {level} off by {off:.3f} minutes"


def probability(given: Given, expect: Any) -> None:
    """The chance to be ready by a time, and what would be promised."""
    played, jobs = _play(given, paths=4000)
    sample = np.sort(played.ready[jobs.index(given["asked"])])
    found = promise.chance(sample, datetime.fromisoformat(given["by"]).timestamp())
    wanted = expect["prob"] if isinstance(expect, dict) else expect
    assert abs(found - wanted) <= _whole(given)["monte_carlo_at_4000_paths"], found
    if isinstance(expect, dict):
        minutes = given["promise"]["grid_min"]
        for level in given["promise"]["levels"]:
            at = promise.instant_of(promise.quantile(sample, level))
            told = promise.tick(_counter(given["shop"]), at, minutes)
            assert told is not None
            off = abs(told - datetime.fromisoformat(expect["promise"][str(level)]))
            assert off <= timedelta(minutes=minutes * _whole(given)["promise_ticks"]), told


def rounding(given: Given, expect: list[str]) -> None:
    """The first tick not before the quantile."""
    counter = _counter(given["shop"])
    instants = map(datetime.fromisoformat, given["quantile_instants"])
    found = [promise.tick(counter, instant, given["grid_min"]) for instant in instants]
    assert found == [datetime.fromisoformat(local) for local in expect]


def open_minutes(given: Given, expect: list[int]) -> None:
    """The seconds of work between two instants, and back again."""
    for case, minutes in zip(given["cases"], expect, strict=True):
        first, last = (datetime.fromisoformat(case[side]) for side in "ab")
        axis = axis_of(_counter(case["shop"]), first)
        before, after = axis.work(first.timestamp()), axis.work(last.timestamp())
        assert after - before == minutes * 60
        assert axis.finish(after) == last.timestamp()


def _asked(given: Given) -> Any:
    """The sorted ready times of the job asked for, as open minutes after now."""
    played, jobs = _play(given, paths=4000)
    axis, now = played.bench.counter, played.bench.now
    minutes = (axis.work(played.ready[jobs.index(given["asked"])]) - axis.work(now)) / 60
    return np.sort(minutes)


def _bench_and_part(given: Given) -> Any:
    """A job behind one on the bench, whose part comes at a random minute: 6000 possible instants of equal chance."""
    axis = Axis.of([(0.0, 1e6)])
    busy, part, own = given["bench_busy"], given["part_in_min"], given["own"]
    instants = np.linspace(part["lo"] * 60, part["hi"] * 60, 6001)
    middle = tuple(float((early + late) / 2) for early, late in pairwise(instants))
    parcel = ready.Parcel("part", middle, (1 / 6000,) * 6000)
    jobs = [
        ready.Job("busy", ready.Gamma(busy["shape"], busy["scale"]), 0.0, by=0),
        ready.Job("own", ready.LogNormal(own["mu"], own["sigma"]), 0.0, ("part",)),
    ]
    played = ready.play(ready.Bench(0.0, (axis,), axis), jobs, [parcel], {}, paths=4000, seed=SEED)
    return np.sort(played.ready[1]) / 60


def _play(given: Given, *, paths: int) -> tuple[ready.Played, list[str]]:
    now = datetime.fromisoformat(given["now"])
    counter = _counter(given["shop"])
    axis = axis_of(counter, now)
    bench = ready.Bench(now.timestamp(), (axis,) * given["technicians"], axis)
    order = given.get("order", [job["id"] for job in given["jobs"]])
    held = sorted(given["jobs"], key=lambda job: order.index(job["id"]))
    suppliers = given.get("suppliers", {})
    parcels = [_parcel(job, suppliers, counter) for job in held if "part" in job]
    nigs = {job["duration"]["group"]: job["duration"] for job in held if job["duration"]["dist"] == "nig"}
    kinds = {key: draw(_nig(held), paths=paths, seed_key=(SEED,)) for key, held in nigs.items()}
    jobs = [_job(job, now) for job in held]
    return ready.play(bench, jobs, parcels, kinds, paths=paths, seed=SEED), [job.id for job in jobs]


def _nig(held: Given) -> Nig:
    return Nig(held["mu"], held["kappa"], held["alpha"], held["beta"])


def _job(held: Given, now: datetime) -> ready.Job:
    release = datetime.fromisoformat(held.get("released_at") or held.get("dropped_at") or now.isoformat())
    running = "in_progress_elapsed_min" in held
    return ready.Job(
        held["id"], _duration(held["duration"]), release.timestamp(), (held["id"],) if "part" in held else (),
        spent=held.get("in_progress_elapsed_min", 0) * 60, by=0 if running else None,
    )  # fmt: skip


def _duration(held: Given) -> Any:
    match held["dist"]:
        case "const":
            return ready.Const(held["min"] * 60)
        case "lognorm":
            return ready.LogNormal(held["mu"], held["sigma"])
        case "gamma":
            return ready.Gamma(held["shape"], held["scale"])
        case "expon":
            return ready.Exponential(held["mean"])
        case "nig":
            return ready.OfKind(held["group"])
    raise ValueError(held["dist"])


def _parcel(job: Given, suppliers: Mapping[str, Given], shop: Counter) -> ready.Parcel:
    part = job["part"]
    shares = part.get("L_pmf", {part.get("L"): 1.0})
    ordered = datetime.fromisoformat(part["ordered_at"])
    arrivals = [arrival(_supplier(suppliers[part["supplier"]], int(days)), ordered, shop) for days in shares]
    return ready.Parcel(job["id"], tuple(at.timestamp() for at in arrivals), tuple(shares.values()))


def _supplier(held: Given, days: int) -> Supplier:
    holidays = frozenset(map(date.fromisoformat, held.get("holidays", ())))
    return Supplier(
        zone=held["tz"], cutoff=time.fromisoformat(held["cutoff"]), delivers_at=time.fromisoformat(held["delivery"]),
        days=days, working=WorkingDays(holidays=holidays), redelivers=held.get("redeliver", False),
    )  # fmt: skip


def _counter(shop: Given) -> Counter:
    rows = [
        Hours(_DAYS.index(day), time.fromisoformat(opens), _closing(closes), 1, _LONG_AGO)
        for day, spans in shop["hours"].items()
        for opens, closes in spans
    ]
    return Counter(shop["tz"], tuple(rows), closed=frozenset(map(date.fromisoformat, shop.get("closed", ()))))


def _closing(text: str) -> time:
    return time(0) if text == "24:00" else time.fromisoformat(text)


def _whole(given: Given) -> Any:
    """The tolerance that the file gives for the case with these givens."""
    [found] = [case for case in _cases() if case["given"] == given]
    return found["tolerance"]


def _tolerance(given: Given) -> Mapping[str, float]:
    return dict(_whole(given)["monte_carlo_at_4000_paths"])


def _cases() -> Sequence[Given]:
    return list(json.loads((FOLDER / "forecast.json").read_text(encoding="utf-8"))["cases"])


AREAS = {
    "forecast-deterministic": exactly, "forecast-stochastic": by_chance, "probability": probability,
    "promise-rounding": rounding, "open-minutes": open_minutes,
}  # fmt: skip

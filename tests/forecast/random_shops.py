"""Random small shops, told once and set up twice: for the product's engine and for the play by events."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from notify.core.hours import Counter, Hours
from notify.forecast.axis import axis_of
from notify.forecast.durations import Draws, Nig, draw
from notify.forecast.ready import Bench, Const, Gamma, Job, LogNormal, OfKind, Parcel, Played, play
from tests.forecast.by_events import Place, Run, Task

FAR = 1e12  # stands for never where two samples are compared
DAY = 86_400


@dataclass(frozen=True)
class Shop:
    """One invented shop at one moment."""

    place: Place
    now: float
    jobs: tuple[Job, ...]
    parcels: tuple[Parcel, ...]
    nigs: Mapping[str, Nig]


def shop_of(seed: int, *, chance: bool, most: int = 11) -> Shop:
    """The shop of that number, of 2 to `most` jobs; with `chance` durations and deliveries are random, else fixed."""
    dice = random.Random(seed)
    zone = dice.choice(("Europe/Berlin", "Europe/London", "America/New_York"))
    today = dice.choice((date(2026, 3, 6), date(2026, 3, 26), date(2026, 10, 22), date(2026, 6, 3)))
    now = datetime(
        today.year, today.month, today.day, dice.randrange(7, 20), dice.randrange(60), tzinfo=ZoneInfo(zone)
    ).timestamp()
    people = dice.randint(1, 3)
    place = Place(
        zone, _hours(dice), frozenset(today + timedelta(days=dice.randint(1, 9)) for _ in range(dice.randint(0, 2))),
        tuple(_away(dice, now) for _ in range(people)) if dice.random() < 0.6 else ((),) * people,
        dice.choice((0.0, 600.0)),
    )  # fmt: skip
    parcels = tuple(_parcel(dice, f"P{number}", now, chance) for number in range(dice.randint(0, 4)))
    jobs = tuple(_job(dice, f"J{number}", now, people, parcels, chance) for number in range(dice.randint(2, most)))
    return Shop(place, now, jobs, parcels, {"k": Nig(3.4, 4.0, 4.0, 1.0)})


def ours(shop: Shop, *, paths: int, seed: int = 1) -> Played:
    """The shop through the product."""
    counter, now = counter_of(shop.place), datetime.fromtimestamp(shop.now, UTC)
    axes = tuple(axis_of(counter, now, away=away) for away in shop.place.away)
    bench = Bench(shop.now, axes, axis_of(counter, now), shop.place.proving)
    kinds: dict[str, Draws] = {
        key: draw(nig, paths=paths, seed_key=(seed, number)) for number, (key, nig) in enumerate(shop.nigs.items())
    }
    return play(bench, shop.jobs, shop.parcels, kinds, paths=paths, seed=seed)


def by_events(shop: Shop, dice: random.Random) -> list[float]:
    """One run by events: when each job is ready, FAR if never."""
    params = {key: _params(nig, dice) for key, nig in shop.nigs.items()}
    tasks = [
        Task(job.id, max(1.0, float(round(_seconds(job, params, dice)))), job.released, job.parcels, job.by)
        for job in shop.jobs
    ]
    arrivals = {one.key: dice.choices(one.arrivals, one.shares)[0] for one in shop.parcels}
    found = Run(shop.place, tasks, arrivals, shop.now).until_all(shop.now + 120 * DAY)
    return [found.get(job.id, FAR) for job in shop.jobs]


def counter_of(place: Place) -> Counter:
    """The same hours as the product holds them."""
    rows = [
        Hours(weekday, time(*divmod(opens, 60)), time(*divmod(closes % 1440, 60)), 1, date(2000, 1, 1))
        for weekday, spans in place.hours.items()
        for opens, closes in spans
    ]
    return Counter(place.zone, tuple(rows), closed=place.closed)


def as_constant(shop: Shop, name: str, *, longer: float) -> Shop:
    """The shop in which that job takes so many seconds more."""
    jobs = tuple(_longer(job, longer) if job.id == name else job for job in shop.jobs)
    return replace(shop, jobs=jobs)


def _longer(job: Job, seconds: float) -> Job:
    assert isinstance(job.duration, Const)
    return replace(job, duration=Const(job.duration.seconds + seconds))


def _hours(dice: random.Random) -> dict[int, tuple[tuple[int, int], ...]]:
    opens, closes = dice.randrange(480, 630, 5), dice.randrange(960, 1170, 5)
    day = ((opens, 720), (780, closes)) if dice.random() < 0.4 else ((opens, closes),)
    if dice.random() < 0.1:
        day = ((0, 1440),)
    first = dice.choice((0, 0, 1))
    return dict.fromkeys(range(first, dice.choice((5, 6, 7))), day)


def _away(dice: random.Random, now: float) -> tuple[tuple[float, float], ...]:
    def one() -> tuple[float, float]:
        gone = now + 60 * dice.randrange(-600, 6000)
        return gone, gone + 60 * dice.randrange(30, 2000)

    return tuple(one() for _ in range(dice.randint(0, 3)))


def _parcel(dice: random.Random, key: str, now: float, chance: bool) -> Parcel:
    first = now + 60 * dice.randrange(-60, 5000)
    if not chance:
        return Parcel(key, (None if dice.random() < 0.1 else first,), (1.0,))
    return Parcel(key, (first, first + DAY, first + 3 * DAY, None), (0.7, 0.2, 0.08, 0.02))


def _job(dice: random.Random, name: str, now: float, people: int, parcels: tuple[Parcel, ...], chance: bool) -> Job:
    by = dice.randrange(people) if dice.random() < 0.2 else None
    keys = tuple(one.key for one in dice.sample(parcels, min(len(parcels), dice.choice((0, 0, 1, 1, 2)))))
    released = now + 60 * dice.choice((-500, 0, dice.randrange(1, 3000)))
    spent = 60.0 * dice.choice((0, 10, 40)) if by is not None or dice.random() < 0.1 else 0.0
    work: Const | LogNormal | Gamma | OfKind = Const(60 * dice.randrange(5, 300))
    if chance:
        work = dice.choice((LogNormal(3.4, 0.5), OfKind("k"), LogNormal(4.5, 0.3)))
    return Job(name, work, released, () if by is not None else keys, spent, by)


def _params(nig: Nig, dice: random.Random) -> tuple[float, float]:
    """Normal-inverse-gamma by its definition: 1/variance is gamma, the mean normal about it."""
    variance = nig.beta / dice.gammavariate(nig.alpha, 1)
    return dice.gauss(nig.mu, math.sqrt(variance / nig.kappa)), math.sqrt(variance)


def _seconds(job: Job, params: Mapping[str, tuple[float, float]], dice: random.Random) -> float:
    """What is left: whole durations are thrown until one is longer than what is spent."""
    if isinstance(job.duration, Const):
        return job.duration.seconds - job.spent
    assert isinstance(job.duration, LogNormal | OfKind)
    if isinstance(job.duration, LogNormal):
        mu, sigma = job.duration.mu, job.duration.sigma
    else:
        mu, sigma = params[job.duration.key]
    for _ in range(100_000):
        whole = 60 * dice.lognormvariate(mu, sigma)
        if whole > job.spent:
            return whole - job.spent
    raise AssertionError("no duration is longer than what is spent")

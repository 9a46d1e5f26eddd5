"""What a forecast of the whole shop is made from: its facts, read at once, and what the engine wants of them."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from hashlib import sha256

from notify.core.bench_order import Place, rank
from notify.core.errors import Invalid
from notify.core.hours import Counter, is_open, open_spans
from notify.core.instants import zone
from notify.core.ready import Without
from notify.core.shop import Shop
from notify.core.tickets import Phase
from notify.core.working_days import Supplier
from notify.flows.context import Context
from notify.flows.score_promises import level_for
from notify.forecast import durations, lead_times, ready
from notify.forecast.axis import Axis
from notify.store import bench_orders, forecast_facts, forecasts, promises, repair_kinds, shops, suppliers
from notify.store.database import Unit
from notify.store.forecast_facts import Away, Missing
from notify.store.promises import Promise
from notify.store.repair_kinds import KindRow
from notify.store.tickets import Job

HORIZON = timedelta(days=120)  # further ahead nobody could mean a time
_BACK = timedelta(days=30)  # a device may have been watched since then
_IN_HAND = (Phase.ON_BENCH, Phase.PROVING)
NO_KIND = ""  # of a shop that has no kinds at all


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """One look at everything a forecast hangs on. `stamp` is the state of the facts, `level` the share to ask for.

    `order` holds every ticket in work, the one to be done first on top; `technicians` are identifiers of staff.
    """

    now: datetime
    shop: Shop
    counter: Counter
    level: float
    jobs: Mapping[str, Job]
    order: tuple[str, ...]
    missing: Mapping[str, tuple[Missing, ...]]
    asked: frozenset[str]
    kinds: tuple[KindRow, ...]
    technicians: tuple[str, ...]
    away: tuple[Away, ...]
    suppliers: Mapping[str, tuple[Supplier, tuple[int, ...]]]
    promises: Mapping[str, Promise]
    stamp: str

    @property
    def today(self) -> date:
        """The date on the shop's wall."""
        return self.now.astimezone(zone(self.shop.zone)).date()


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """What the engine plays: jobs in rank order, their parcels, and what is known of their kinds.

    `without` says of the other tickets why nothing can be said; `proved` when those that are watched will be ready.
    `seed` holds for the shop and the day; `digest` changes with every fact, not with time alone.
    """

    bench: ready.Bench
    jobs: tuple[ready.Job, ...]
    parcels: Mapping[str, lead_times.Parcel]
    beliefs: Mapping[str, durations.Nig]
    without: Mapping[str, Without]
    proved: Mapping[str, datetime]
    seed: int
    digest: str

    def kinds(self, paths: int) -> dict[str, durations.Draws]:
        """Draws of every kind that is on the list, so many; running jobs count as ones that can take longer."""
        spent: dict[str, list[float]] = {}
        for job in self.jobs:
            assert isinstance(job.duration, ready.OfKind)
            spent.setdefault(job.duration.key, []).extend([job.spent / 60] if job.spent else [])
        return {
            key: durations.draw(self.beliefs[key], paths=paths, seed_key=(self.seed, _number(key)), open_minutes=known)
            for key, known in spent.items()
        }

    @cached_property
    def held(self) -> dict[str, ready.Parcel]:
        """The parcels as the engine takes them."""
        return {key: ready.Parcel(*one) for key, one in self.parcels.items()}


def gather(ctx: Context, unit: Unit, *, also: Job | None = None) -> Facts:
    """Reads all of it in one snapshot, with a statement for each kind of thing and not for each ticket.

    `also` is a device that nobody has taken in yet.
    """
    shop, now = ctx.shop(unit), ctx.clock()
    counter = shops.get_counter(unit, shop)
    found = {job.id: job for job in (*forecast_facts.jobs(unit), *((also,) if also else ()))}
    missing: dict[str, tuple[Missing, ...]] = {}
    for part in forecast_facts.missing_parts(unit):
        missing[part.ticket_id] = (*missing.get(part.ticket_id, ()), part)
    places = (Place(j.id, j.phase in _IN_HAND, j.promise_at, j.created_at, j.number) for j in found.values())
    return Facts(
        now=now, shop=shop, counter=counter, level=level_for(unit, shop, now=now), jobs=found,
        order=rank(places, bench_orders.standing(unit), now=now), missing=missing,
        asked=forecast_facts.asked(unit, found), kinds=repair_kinds.list_kinds(unit),
        technicians=forecast_facts.at_bench(unit)[: ready.MOST_PEOPLE], away=forecast_facts.away_after(unit, now),
        suppliers={
            row.id: (suppliers.habits_of(unit, row, zone=shop.zone), tuple(row.delays))
            for row in shops.list_suppliers(unit)
        },
        promises=promises.standing(unit), stamp=forecasts.state(unit).stamp,
    )  # fmt: skip


def prepare(facts: Facts) -> Inputs:
    """What the engine wants, from the facts alone: the same facts at the same instant give the same."""
    counter, parcels = open_time(facts), _parcels(facts)
    without = _without(facts, counter, parcels)
    listed = [facts.jobs[one] for one in facts.order if one not in without and _needs_hands(facts.jobs[one])]
    without |= {job.id: Without.TOO_MANY for job in listed[ready.MOST_JOBS :]}
    return Inputs(
        bench=_bench(facts, counter), jobs=tuple(_job(facts, job, counter) for job in listed[: ready.MOST_JOBS]),
        parcels=parcels, beliefs=_beliefs(facts), without=without, proved=_proved(facts, without, counter),
        seed=seed_of(facts.shop.id, facts.today), digest=_digest(facts),
    )  # fmt: skip


def seed_of(shop_id: str, day: date) -> int:
    """One seed for a shop and a day: a forecast moves only when the facts do."""
    return _number(f"{shop_id} {day.isoformat()}")


def parcel_key(part: Missing) -> str:
    """All parts of one supplier that are due at one instant come in one box: late together, or not."""
    return f"{part.supplier_id or ''} {part.due_at.isoformat() if part.due_at else ''}"


def kind_key(facts: Facts, job: Job) -> str:
    """The kind that a ticket's work is reckoned by: its own, else the one of all others."""
    known = {kind.id for kind in facts.kinds}
    return job.kind_id if job.kind_id in known else catch_all(facts)


def catch_all(facts: Facts) -> str:
    """The kind of every ticket that names none."""
    return next((kind.id for kind in facts.kinds if kind.catch_all), NO_KIND)


def open_time(facts: Facts) -> Axis:
    """The counter's open time, from a month ago to as far ahead as anything is reckoned."""
    spans = open_spans(facts.counter, facts.today - _BACK, facts.today + HORIZON)
    return Axis.of([(span.start_utc.timestamp(), span.end_utc.timestamp()) for span in spans])


def spent_seconds(facts: Facts, job: Job, counter: Axis) -> float:
    """Open seconds of hands-on work so far: what was noted, and the stint that runs (a month of it at most)."""
    if job.phase != Phase.ON_BENCH:
        return float(job.worked_seconds)
    runs = counter.work(facts.now.timestamp()) - counter.work(job.phase_since.timestamp())
    return job.worked_seconds + max(0.0, float(runs))


def _bench(facts: Facts, counter: Axis) -> ready.Bench:
    shop = [span for span in counter.spans if span[1] > facts.now.timestamp()]
    axes = tuple(Axis.of(_present(shop, [a for a in facts.away if a.staff_id == one])) for one in facts.technicians)
    return ready.Bench(facts.now.timestamp(), axes, counter, facts.shop.proving_minutes * 60.0)


def _present(spans: list[tuple[float, float]], away: list[Away]) -> list[tuple[float, float]]:
    """The spans without the absences, which come in order of their beginning."""
    for gap in away:
        starts, ends = gap.starts_at.timestamp(), gap.ends_at.timestamp()
        spans = [
            piece
            for opens, closes in spans
            for piece in ((opens, min(closes, starts)), (max(opens, ends), closes))
            if piece[0] < piece[1]
        ]
    return spans


def _without(facts: Facts, counter: Axis, parcels: Mapping[str, lead_times.Parcel]) -> dict[str, Without]:
    """Of whom nothing can be said, whatever is played."""
    nobody = None if facts.technicians else Without.NOBODY
    shut = None if counter.end > facts.now.timestamp() else Without.SHUT
    found = {
        one: _waits(facts, job, parcels) or shut or (nobody if _needs_hands(job) else None)
        for one, job in facts.jobs.items()
    }
    return {one: why for one, why in found.items() if why is not None}


def _needs_hands(job: Job) -> bool:
    return job.phase != Phase.PROVING


def _waits(facts: Facts, job: Job, parcels: Mapping[str, lead_times.Parcel]) -> Without | None:
    """What has to happen first that nobody can reckon."""
    if job.id in facts.asked:
        return Without.QUESTION
    missing = facts.missing.get(job.id, ()) if _needs_hands(job) else ()
    if any(part.state == "needed" for part in missing):
        return Without.NOT_ORDERED
    return Without.NO_DUE if any(parcel_key(part) not in parcels for part in missing) else None


def _job(facts: Facts, job: Job, counter: Axis) -> ready.Job:
    """One that lies on the bench and still waits for a part is in nobody's hands."""
    keys = tuple(sorted({parcel_key(part) for part in facts.missing.get(job.id, ())}))
    in_hand = job.phase == Phase.ON_BENCH and not keys and job.technician_id in facts.technicians
    by = facts.technicians.index(job.technician_id) if in_hand and job.technician_id else None
    work, spent = ready.OfKind(kind_key(facts, job)), spent_seconds(facts, job, counter)
    return ready.Job(job.id, work, facts.now.timestamp(), keys, spent, by)


def _parcels(facts: Facts) -> dict[str, lead_times.Parcel]:
    """Every box that somebody waits for. One whose supplier never works is none: nobody knows when it comes."""
    parts = {parcel_key(part): part for missing in facts.missing.values() for part in missing if part.due_at}
    found: dict[str, lead_times.Parcel] = {}
    for key, part in sorted(parts.items()):
        habits, counts = facts.suppliers.get(part.supplier_id or "", (Supplier(zone=facts.shop.zone), ()))
        assert part.due_at is not None
        with suppress(Invalid):
            found[key] = lead_times.parcel(key, part.due_at, habits, counts, facts.now, facts.counter)
    return found


def _beliefs(facts: Facts) -> dict[str, durations.Nig]:
    known = {
        kind.id: (float(kind.minutes), durations.Sums(kind.learned, kind.learned_sum, kind.learned_squares))
        for kind in facts.kinds
    }
    return durations.learned(known or {NO_KIND: (float(max(1, facts.shop.bench_minutes)), durations.Sums())})


def _proved(facts: Facts, without: Mapping[str, Without], counter: Axis) -> dict[str, datetime]:
    """When devices that are watched will be ready: after so much open time, and not before now."""
    watched = (j for j in facts.jobs.values() if not _needs_hands(j) and j.id not in without)
    ends = {
        job.id: float(counter.finish(counter.work(job.phase_since.timestamp()) + facts.shop.proving_minutes * 60.0))
        for job in watched
    }
    return {one: max(facts.now, datetime.fromtimestamp(min(at, counter.end), UTC)) for one, at in ends.items()}


def is_open_now(facts: Facts) -> bool:
    """Whether the shop is open."""
    return is_open(facts.counter, facts.now)


def _digest(facts: Facts) -> str:
    """A hash of the facts: the same one at the same instant gives the same forecast."""
    jobs = [
        (j.id, j.phase, j.kind_id, j.worked_seconds, j.phase_since, j.technician_id, j.promise_at)
        for j in (facts.jobs[one] for one in facts.order)
    ]
    delays = sorted((one, counts) for one, (_, counts) in facts.suppliers.items())
    rest = (
        sorted(facts.missing.items()), sorted(facts.asked), facts.kinds, facts.technicians, facts.away, delays,
        facts.level, facts.shop, facts.stamp.split(":")[1:],
    )  # fmt: skip
    return sha256(repr((jobs, rest)).encode()).hexdigest()


def _number(text: str) -> int:
    """A whole number of 63 bits that belongs to this text."""
    return int.from_bytes(sha256(text.encode()).digest()[:8]) >> 1

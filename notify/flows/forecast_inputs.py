"""What the engine wants of a shop's facts: who is at the bench when, what is to be done, and what it waits for."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from hashlib import sha256

from notify.core.absences import present
from notify.core.errors import Invalid
from notify.core.first_kinds import REST_MINUTES
from notify.core.ready import Without
from notify.core.tickets import Phase
from notify.core.working_days import Supplier
from notify.flows.shop_facts import Facts
from notify.forecast import durations, lead_times, ready
from notify.forecast.axis import Axis, axis_of
from notify.store.tickets import Job

_BACK = 30  # days; a device may have been watched since then
NO_KIND = ""  # of a shop that has no kinds at all


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """What the engine plays: jobs in rank order, their parcels, and what is known of their kinds.

    `without` says of the other tickets why nothing can be said; `proved` when those that are watched will be ready.
    `seed` holds for the shop and the day; `digest` changes with every fact, not with time alone.
    """

    bench: ready.Bench
    jobs: tuple[ready.Job, ...]
    parcels: Mapping[str, ready.Parcel]
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


def prepare(facts: Facts) -> Inputs:
    """What the engine wants, from the facts alone: the same facts at the same instant give the same."""
    counter, boxes = open_time(facts), _boxes(facts)
    without = _without(facts, counter, boxes)
    listed = [facts.jobs[one] for one in facts.order if one not in without and _needs_hands(facts.jobs[one])]
    without |= {job.id: Without.TOO_MANY for job in listed[ready.MOST_JOBS :]}
    reckoned = listed[: ready.MOST_JOBS]
    return Inputs(
        bench=_bench(facts, counter), jobs=tuple(_job(facts, job, counter, boxes) for job in reckoned),
        parcels={box.key: box for box in boxes.values()}, beliefs=_beliefs(facts), without=without,
        proved=_proved(facts, without, counter), seed=seed_of(facts.shop.id, facts.today), digest=_digest(facts),
    )  # fmt: skip


def waits_for(inputs: Inputs, ticket_id: str, box: ready.Parcel) -> Inputs:
    """The same, if that ticket waited for this box as well."""
    jobs = tuple(
        replace(job, parcels=(*job.parcels, box.key)) if job.id == ticket_id else job for job in inputs.jobs
    )  # fmt: skip
    return replace(inputs, jobs=jobs, parcels={**inputs.parcels, box.key: box})


def seed_of(shop_id: str, day: date) -> int:
    """One seed for a shop and a day: a forecast moves only when the facts do."""
    return _number(f"{shop_id} {day.isoformat()}")


def kind_key(facts: Facts, job: Job) -> str:
    """The kind that a ticket's work is reckoned by: its own, else the one of all others."""
    known = {kind.id for kind in facts.kinds}
    return job.kind_id if job.kind_id in known else catch_all(facts)


def catch_all(facts: Facts) -> str:
    """The kind of every ticket that names none."""
    return next((kind.id for kind in facts.kinds if kind.catch_all), NO_KIND)


def open_time(facts: Facts) -> Axis:
    """The counter's open time, from a month ago to as far ahead as anything is reckoned."""
    return axis_of(facts.counter, facts.now, back=_BACK)


def spent_seconds(facts: Facts, job: Job, counter: Axis) -> float:
    """Open seconds of hands-on work so far: what was noted, and the stint that runs (a month of it at most)."""
    if job.phase != Phase.ON_BENCH:
        return float(job.worked_seconds)
    runs = counter.work(facts.now.timestamp()) - counter.work(job.phase_since.timestamp())
    return job.worked_seconds + max(0.0, float(runs))


def _bench(facts: Facts, counter: Axis) -> ready.Bench:
    shop = [span for span in counter.spans if span[1] > facts.now.timestamp()]
    away = [(one.staff_id, (one.starts_at.timestamp(), one.ends_at.timestamp())) for one in facts.away]
    axes = tuple(
        Axis.of(present(shop, [gap for staff_id, gap in away if staff_id == one])) for one in facts.technicians
    )
    return ready.Bench(facts.now.timestamp(), axes, counter, facts.shop.proving_minutes * 60.0)


def _without(facts: Facts, counter: Axis, boxes: Mapping[str, ready.Parcel]) -> dict[str, Without]:
    """Of whom nothing can be said, whatever is played."""
    nobody = None if facts.technicians else Without.NOBODY
    shut = None if counter.end > facts.now.timestamp() else Without.SHUT
    found = {
        one: _waits(facts, job, boxes) or shut or (nobody if _needs_hands(job) else None)
        for one, job in facts.jobs.items()
    }
    return {one: why for one, why in found.items() if why is not None}


def _needs_hands(job: Job) -> bool:
    return job.phase != Phase.PROVING


def _waits(facts: Facts, job: Job, boxes: Mapping[str, ready.Parcel]) -> Without | None:
    """What has to happen first that nobody can reckon."""
    if job.id in facts.asked:
        return Without.QUESTION
    missing = facts.missing.get(job.id, ()) if _needs_hands(job) else ()
    if any(part.state == "needed" for part in missing):
        return Without.NOT_ORDERED
    return Without.NO_DUE if any(part.id not in boxes for part in missing) else None


def _job(facts: Facts, job: Job, counter: Axis, boxes: Mapping[str, ready.Parcel]) -> ready.Job:
    """One that lies on the bench and still waits for a part is in nobody's hands."""
    keys = tuple(sorted({boxes[part.id].key for part in facts.missing.get(job.id, ())}))
    in_hand = job.phase == Phase.ON_BENCH and not keys and job.technician_id in facts.technicians
    by = facts.technicians.index(job.technician_id) if in_hand and job.technician_id else None
    work, spent = ready.OfKind(kind_key(facts, job)), spent_seconds(facts, job, counter)
    return ready.Job(job.id, work, facts.now.timestamp(), keys, spent, by)


def _boxes(facts: Facts) -> dict[str, ready.Parcel]:
    """part -> the box that it comes in: all parts of one supplier that are due at one instant, late together or not.

    A box is known by the first of its parts, so that its luck stays the same when it is put off. One whose supplier
    never works is none: nobody knows when it comes.
    """
    together: dict[tuple[str, datetime], list[str]] = {}
    for part in (part for missing in facts.missing.values() for part in missing):
        if part.due_at is not None:
            together.setdefault((part.supplier_id or "", part.due_at), []).append(part.id)
    found: dict[str, ready.Parcel] = {}
    for (supplier, due), parts in together.items():
        habits, counts = facts.suppliers.get(supplier, (Supplier(zone=facts.shop.zone), ()))
        with suppress(Invalid):
            box = lead_times.parcel(min(parts), due, habits, counts, facts.now, facts.counter)
            found |= dict.fromkeys(parts, box)
    return found


def _beliefs(facts: Facts) -> dict[str, durations.Nig]:
    known = {kind.id: (float(kind.minutes), kind.sums) for kind in facts.kinds}
    return durations.learned(known or {NO_KIND: (float(REST_MINUTES), durations.Sums())})


def _proved(facts: Facts, without: Mapping[str, Without], counter: Axis) -> dict[str, datetime]:
    """When devices that are watched will be ready: after so much open time, and not before now."""
    watched = (j for j in facts.jobs.values() if not _needs_hands(j) and j.id not in without)
    ends = {
        job.id: float(counter.finish(counter.work(job.phase_since.timestamp()) + facts.shop.proving_minutes * 60.0))
        for job in watched
    }
    return {one: max(facts.now, datetime.fromtimestamp(min(at, counter.end), UTC)) for one, at in ends.items()}


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

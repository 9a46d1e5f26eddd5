"""What was learned of each kind of repair, and how well past jobs would have been predicted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.past_jobs import Sums, sums_of
from notify.flows.context import Context
from notify.forecast import back_test, belief, durations
from notify.forecast.back_test import BackTest
from notify.store import past_jobs, repair_kinds
from notify.store.repair_kinds import KindRow

LOOKED_AT = 10_000  # of the newest jobs, on a page; a command may look at all


@dataclass(frozen=True, slots=True)
class KindLearned:
    """One kind: `jobs` were learned from, `read` of them out of a history; half are done within `half` minutes, nine
    of ten within `nine`, as it is believed now. `kept_out` jobs were too short or too long to be meant.
    """

    id: str
    name: str
    minutes: int
    device_class: str
    active: bool
    catch_all: bool
    jobs: int
    read: int
    kept_out: int
    half: float
    nine: float


@dataclass(frozen=True, slots=True)
class Learned:
    """Every kind, and the back-test over the newest jobs (of all that count: `jobs`)."""

    kinds: tuple[KindLearned, ...]
    jobs: int
    read: int
    test: BackTest


def view_kinds(ctx: Context, actor: Actor) -> tuple[KindLearned, ...]:
    """What was learned of each kind: from sums alone, however many jobs there were."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return _kinds(repair_kinds.list_kinds(unit), past_jobs.counted(unit))


def list_offered(ctx: Context, actor: Actor) -> tuple[KindRow, ...]:
    """The kinds to choose from, by name."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return tuple(row for row in repair_kinds.list_kinds(unit) if row.active)


def view(ctx: Context, actor: Actor, *, limit: int = LOOKED_AT) -> Learned:
    """What was learned, and a back-test over the newest `limit` jobs, each predicted from all before it."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        rows, counted = repair_kinds.list_kinds(unit), past_jobs.counted(unit)
        jobs = past_jobs.newest(unit, limit=limit)
    kinds = _kinds(rows, counted)
    test = back_test.back_test({row.id: row.minutes for row in rows}, jobs, start=_before(rows, jobs))
    return Learned(kinds, sum(one.jobs for one in kinds), sum(one.read for one in kinds), test)


def _kinds(rows: Sequence[KindRow], counted: dict[str, tuple[int, int]]) -> tuple[KindLearned, ...]:
    believed = belief.learned({row.id: (row.minutes, row.sums) for row in rows})
    half, nine = (durations.longest_of_all([believed[row.id] for row in rows], level) for level in (0.5, 0.9))
    return tuple(
        KindLearned(
            row.id, row.name, row.minutes, row.device_class, row.active, row.catch_all, row.learned,
            *counted.get(row.id, (0, 0)), *minutes,
        )
        for row, *minutes in zip(rows, half, nine, strict=True)
    )  # fmt: skip


def _before(rows: Sequence[KindRow], jobs: Sequence[tuple[str, float]]) -> dict[str, Sums]:
    """What was learned before the first of these jobs: everything, less what they taught themselves."""
    by_kind: dict[str, list[float]] = {}
    for kind_id, minutes in jobs:
        by_kind.setdefault(kind_id, []).append(minutes)
    found = {}
    for row in rows:
        found[row.id] = row.sums + -sums_of(by_kind.get(row.id, ()))
    return found

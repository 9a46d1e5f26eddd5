"""Learn from finished repairs: hands-on time when a device leaves the bench, a past job when it is shelved repaired."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from notify.core import hands_on
from notify.core.actors import Actor
from notify.core.events import Event
from notify.core.past_jobs import Sums, is_believed, sums_of_one
from notify.core.tickets import UNDO_WITHIN, Outcome, Phase
from notify.flows.context import Context
from notify.store import events, past_jobs, repair_kinds, shops
from notify.store.database import Unit
from notify.store.past_jobs import PastJob
from notify.store.tickets import Job

_OVER = (Phase.ON_SHELF, Phase.HANDED_BACK, Phase.LEFT_BEHIND)


def hands_on_seconds(
    ctx: Context, unit: Unit, job: Job, *, until: datetime, more: Sequence[Event] = (),
    story: Sequence[Event] | None = None,
) -> int:  # fmt: skip
    """Open seconds of work on that device so far, with a stint that runs counted `until`; `more` ends its story.

    `story` holds the device's own events where they have been read already.
    """
    if story is None:
        story = events.story_of(unit, visit_id=job.visit_id, ticket_id=job.id)
    story = (*story, *more)
    spans = hands_on.work_spans(story, job.id, until=until, at_once=UNDO_WITHIN)
    return hands_on.open_seconds(shops.get_counter(unit, ctx.shop(unit)), spans) if spans else 0


def is_finished(job: Job) -> bool:
    """Whether the repair teaches how long such ones take: one that was given up does not."""
    return job.outcome == Outcome.REPAIRED and job.phase in _OVER


def settle(unit: Unit, before: Job, after: Job) -> None:
    """Learns from a repair that is finished now and was not before; forgets one that no longer is."""
    if is_finished(after) and not is_finished(before):
        _learn(unit, after)
    elif is_finished(before) and not is_finished(after):
        unlearn(unit, before.id)


def _learn(unit: Unit, job: Job) -> None:
    kind_id = job.kind_id or repair_kinds.catch_all(unit).id
    _keep(unit, job.id, PastJob(kind_id, job.worked_seconds / 60, job.phase_since))


def _keep(unit: Unit, ticket_id: str, job: PastJob) -> None:
    """Absurd ones are kept too, without counting, so that the shop sees how many there are."""
    counts = is_believed(job.minutes)
    past_jobs.add_own(unit, ticket_id, PastJob(job.kind_id, job.minutes, job.ended_at, counts))
    if counts:
        add_sums(unit, job.kind_id, sums_of_one(job.minutes))


def unlearn(unit: Unit, ticket_id: str) -> PastJob | None:
    """Takes away what a ticket taught, to the last bit; what that was."""
    job = past_jobs.of_ticket(unit, ticket_id)
    if job is None:
        return None
    past_jobs.drop_own(unit, ticket_id)
    if job.counts:
        add_sums(unit, job.kind_id, -sums_of_one(job.minutes))
    return job


def move_to_kind(unit: Unit, ticket_id: str, kind_id: str) -> None:
    """What a ticket taught counts for another kind from here on."""
    job = unlearn(unit, ticket_id)
    if job is not None:
        _keep(unit, ticket_id, PastJob(kind_id, job.minutes, job.ended_at))


def add_sums(unit: Unit, kind_id: str, sums: Sums) -> None:
    """Adds to what was learned of a kind."""
    repair_kinds.add_sums(unit, kind_id, jobs=sums.jobs, total=sums.total, squares=sums.squares)


def relearn(ctx: Context, actor: Actor) -> int:
    """Makes the sums of every kind anew from the past jobs; how many kinds had others."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        return relearn_within(unit)


def relearn_within(unit: Unit) -> int:
    """Like relearn, inside the caller's transaction."""
    sums: dict[str, Sums] = {}
    for kind_id, minutes in past_jobs.all_minutes(unit):
        sums[kind_id] = sums.get(kind_id, Sums()) + sums_of_one(minutes)
    wrong = [(row.id, want) for row in repair_kinds.list_kinds(unit) if (want := sums.get(row.id, Sums())) != row.sums]
    repair_kinds.put_sums(unit, [(kind_id, one.jobs, one.total, one.squares) for kind_id, one in wrong])
    if wrong:
        shops.note_change(unit)
    return len(wrong)

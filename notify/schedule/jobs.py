"""The table of timed jobs: name, when, flow. A job holds no state; running it twice changes nothing more."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notify.core.actors import Actor
from notify.flows import (
    ask_after,
    at_bench,
    bench_order,
    contact_codes,
    data_holds,
    doubts,
    forecast,
    forget,
    keep_proofs,
    late_parts,
    lost_ticket,
    once,
    paper_day,
    passes,
    questions,
    reminders,
    replies,
    requests_due,
    score_promises,
    take_call,
    tell_before,
    watch_clock,
)  # fmt: skip
from notify.flows.context import Context
from notify.render.words import Words
from notify.schedule.when import Every, Nightly, When
from notify.store.job_runs import NEVER
from notify.wiring import Services

log = logging.getLogger("shelfbell.schedule")


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a job: for which shop ("" for the whole installation), now, and when it ran before."""

    services: Services
    shop_id: str
    now: datetime
    before: datetime

    @property
    def context(self) -> Context:
        """What flows are handed."""
        return self.services.context

    @property
    def actor(self) -> Actor:
        """The clock, acting in the shop."""
        return Actor(self.shop_id, "system", "clock")


@dataclass(frozen=True, slots=True)
class Job:
    """One line of the table. `per_shop` jobs run once for each shop, the others once for the installation.

    One that is not `leased` runs in every process that has it and leaves no row. One that is `slow` waits for
    somebody else's server or has much to do, and runs beside the others on a thread of its own.
    """

    name: str
    when: When
    flow: Callable[[Run], object]
    per_shop: bool = True
    leased: bool = True
    slow: bool = False


def _look_at_clock(run: Run) -> None:
    """Before anything is forgotten: a clock that leapt must not make everybody's time be over."""
    if why := watch_clock.look(run.context, ran=run.services.since_last_look()):
        log.warning("%s: nobody is forgotten on its word", watch_clock.WHY[why])


def _is_believed(run: Run) -> bool:
    """Never on the first night of an installation: there is nothing yet to compare the clock with."""
    return run.before != NEVER and watch_clock.is_believed(run.context, run.shop_id)


def _forget(run: Run) -> None:
    """People whose time is over go; that nothing is left in the files is proved by `prove_forgetting`."""
    if _is_believed(run):
        services = run.services
        forget.forget(run.context, run.actor, drop_copies=services.drop_copies, prove=False, rest=services.rest)


def _tell_before(run: Run) -> None:
    """Who is soon forgotten is told; on the word of a clock that leapt it would be wrong, and only once."""
    if _is_believed(run):
        tell_before.tell_due(run.context, run.actor)


def _erase_asked(run: Run) -> None:
    """Who asked to be forgotten, and had their rest; not on the word of a clock that leapt."""
    if _is_believed(run):
        requests_due.erase_due(run.context, run.actor, drop_copies=run.services.drop_copies)


def _forget_delegates(run: Run) -> None:
    """Whoever was named in a pass goes soon after it; as with people, not on the word of a clock that leapt."""
    if _is_believed(run):
        forget.forget_delegates(run.context, run.actor, drop_copies=run.services.drop_copies)


def _forget_strangers(run: Run) -> None:
    """What strangers wrote, or sources told of them, goes after its time; not on the word of a clock that leapt."""
    if _is_believed(run):
        keep_days = run.services.settings.inbox.keep_days
        replies.forget_strangers(run.context, run.actor, keep_days=keep_days)
        told = {watch.name: watch.keep_days for watch in run.services.settings.watch}
        doubts.forget_strangers(run.context, run.actor, keep_days=told)


def _forget_proofs(run: Run) -> None:
    """What proves consents, requests, erasures and looks goes after its own time; not on the word of a leapt clock."""
    if _is_believed(run):
        keep_proofs.forget_proofs(run.context, run.actor)


def _tidy_absences(run: Run) -> None:
    """When somebody was away is nobody's business long after; but not on the word of a clock that leapt."""
    if _is_believed(run):
        at_bench.tidy(run.context, run.actor)


def _answer_lost(run: Run) -> None:
    """Soon, for somebody waits; and not by the page itself, so that it takes no longer for numbers that are ours."""
    lost_ticket.answer_asked(run.context, run.services.shop_ids())


def _paper_day(run: Run) -> None:
    """For a morning without power: what the evening knows of the next day."""
    paper, services = run.services.settings.paper, run.services
    if paper.day_sheet_folder is None:
        return
    words = Words(services.templates / "words", prefix="desk.").get("en")

    def make(day: date) -> bytes:
        return paper_day.day_sheet_pdf(run.context, run.actor, day, words=words, templates=services.templates)

    paper_day.write_due(run.context, run.actor, folder=paper.day_sheet_folder, at=paper.day_sheet_at,
                        keep_days=paper.keep_days, make=make)  # fmt: skip


def _tell_listeners(run: Run) -> None:
    """On a thread of its own: a listener that is dead holds up no message, and no other job."""
    run.services.teller.tell_due(run.services.shop_ids())


def _prove(run: Run) -> None:
    """What was forgotten is rewritten and proved here, by the one that checkpoints: large files in closed hours.

    Before, whatever a run left that was killed since this last ran: an hour more, as that run may itself have ended so.
    """
    forget.finish_cut_off(run.context, run.actor, since=run.before - timedelta(hours=1),
                          drop_copies=run.services.drop_copies)  # fmt: skip
    forget.prove_due(run.context, run.actor, run.services.shop_ids())


def _checkpoint(run: Run) -> None:
    run.context.db.checkpoint()


# A watched folder, or another source of changes, is a job that its own room hands to the runner beside these.
JOBS: tuple[Job, ...] = (
    Job("expire_questions", Every(60), lambda run: questions.expire_due(run.context, run.actor)),
    Job("pickup_reminders", Every(300), lambda run: reminders.remind_due(run.context, run.actor)),
    Job("missed_pickups", Every(600), lambda run: reminders.note_missed(run.context, run.actor)),
    Job("collection_reminders", Every(1800), lambda run: reminders.remind_collection(run.context, run.actor)),
    Job("ask_whether_all_is_well", Every(1800), lambda run: ask_after.ask_due(run.context, run.actor)),
    Job("forecast", Every(5), lambda run: forecast.look(run.context, run.actor), leased=False),
    Job("late_parts", Every(60), lambda run: late_parts.ring_late(run.context, run.actor)),
    Job("bench_order", Every(10), lambda run: bench_order.suggest_due(run.context, run.actor), leased=False),
    Job("settle_promises", Every(60), lambda run: score_promises.settle_due(run.context, run.actor)),
    Job("stale_calls", Every(60), lambda run: run.services.dispatcher.end_stale_calls(run.shop_id)),
    Job("expire_passes", Every(600), lambda run: passes.expire_due(run.context, run.actor)),
    Job("clock", Every(60), _look_at_clock, per_shop=False, leased=False),
    Job("forget", Nightly(), _forget, slow=True),
    Job("tell_before_forgetting", Every(1800), _tell_before),
    Job("erase_asked", Nightly(), _erase_asked),
    Job("requests_pressing", Every(1800), lambda run: requests_due.ring_due(run.context, run.actor)),
    Job("forget_delegates", Nightly(), _forget_delegates),
    Job("forget_strangers", Nightly(), _forget_strangers),
    Job("forget_proofs", Nightly(), _forget_proofs),
    Job("holds_to_review", Every(1800), lambda run: data_holds.ring_due(run.context, run.actor)),
    Job("old_absences", Nightly(), _tidy_absences),
    Job("old_calls", Nightly(), lambda run: take_call.tidy(run.context, run.actor)),
    Job("old_request_keys", Nightly(), lambda run: once.forget_keys(run.context, run.actor)),
    Job("old_codes", Every(600), lambda run: contact_codes.tidy(run.context, run.actor)),
    Job("lost_tickets", Every(5), _answer_lost, per_shop=False, leased=False),
    Job("paper_day_sheet", Every(1800), _paper_day),
    Job("listeners", Every(5), _tell_listeners, per_shop=False, leased=False, slow=True),
    Job("prove_forgetting", Every(60), _prove),
)
# Only the one process of SQLite may have this job: two that checkpoint meet SQLite's known race. Often, because a
# checkpoint that a crash cuts off has to begin anew, and a long journal makes every read slower (measured).
CHECKPOINT = Job("checkpoint", Every(5), _checkpoint, per_shop=False, leased=False)

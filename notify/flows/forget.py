"""Forget people whose time is over. Longer than other rooms: whoever goes, for whatever reason, goes by the same steps.

Keys destroyed, rows overwritten, files rewritten and proved; or a dry run. Some hundred people at a time, in two short
transactions with no lock held in between: keys, copies on this machine, rows. Cut off anywhere, whoever lost their key
and not their rows stands on the erasure list and is not marked as forgotten: the next run goes on there, and a service
within some minutes (`finish_cut_off`).
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.chunks import chunks
from notify.core.errors import NotFound
from notify.flows import quiet_hours, watch_clock
from notify.flows.context import Context
from notify.flows.keeping import delegates_due, who_is_due
from notify.flows.record import record_silent
from notify.store import erasing, letters, people, replies, shops
from notify.store.database import Unit
from notify.store.stamps import people_changed

HELD = 0.06  # seconds; others who wait to write, and sleep up to 25 ms between two looks, then wait less than 100 ms
FEWEST = 20  # people in a batch, however slow the machine is
STILL = timedelta(minutes=2)  # after its last batch a run may go on still
CHECKPOINT = 5_000  # people, after whom the journal is emptied by a run that serves the files itself

DropCopies = Callable[[Sequence[str]], int]
Tell = Callable[[int, int], object]


@dataclass(frozen=True, slots=True)
class Forgotten:
    """Who would go or went, who stays and why (identifiers only), and whether the bytes are proved gone.

    `doubt`: the clock is not believed for this reason (core/clock_trail.doubt), so nobody went.
    """

    due: tuple[str, ...]
    kept: tuple[tuple[str, str], ...]
    counts: dict[str, int]
    confirmed: bool
    dry_run: bool
    doubt: str = ""


@dataclass(slots=True)
class _Run:
    """What one run of erasing has come to: the record that its batches share, and what it counted."""

    ctx: Context
    actor: Actor
    reason: str
    drop_copies: DropCopies | None
    rest: Callable[[], object] = lambda: None
    ticks: Callable[[], float] = time.monotonic
    held: float = 0.0  # seconds for which the last batch held the writers' lock at a time
    record_id: str = ""
    gone: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)


def forget(
    ctx: Context, actor: Actor, *, dry_run: bool = False, drop_copies: DropCopies | None = None, prove: bool = True,
    batch: int = erasing.BATCH, tell: Tell = lambda done, of: None, rest: Callable[[], object] = lambda: None,
    ticks: Callable[[], float] = time.monotonic,
) -> Forgotten:  # fmt: skip
    """Erases every person whose time is over by the shop's rules, at most `batch` of them in a transaction.

    Fewer where that many would hold the writers' lock longer than HELD by `ticks`.

    Without `prove` the rewriting of the files is left to whoever serves them: two processes that both
    checkpoint meet SQLite's WAL-reset race (sqlite.org/wal.html#walresetbug). `tell` hears how many are done of how
    many; `rest` is called between transactions, so that others who wait to write have their turn.

    `drop_copies` removes kept copies of messages (the Maildir of a folder channel) by Message-ID. `confirmed` is False
    while a reader holds old pages: the next run proves it. While the clock is in doubt nobody goes. Not legal advice:
    periods are the shop's rules.
    """
    actor.need("forget")
    with ctx.db.read(actor.shop_id) as unit:
        due, kept = who_is_due(ctx, unit)
        doubt = watch_clock.doubt(ctx, unit)
    if dry_run or doubt:
        return Forgotten(due if dry_run else (), kept, {}, confirmed=False, dry_run=dry_run, doubt=doubt)
    finish_cut_off(ctx, actor, drop_copies=drop_copies)
    run = _Run(ctx, actor, "period_over", drop_copies, rest, ticks)
    looked_at, size = 0, batch
    while some := due[looked_at : looked_at + size]:
        # Looked at again inside the transaction: nobody can take a handover back there, but somebody may just have.
        _forget_batch(run, some, whom=lambda unit, ids: who_is_due(ctx, unit, among=ids)[0])
        looked_at += len(some)
        size = _fitting(size, run.held, most=batch)
        tell(looked_at, len(due))
        rest()
        if prove and looked_at // CHECKPOINT > (looked_at - len(some)) // CHECKPOINT:
            ctx.db.checkpoint()  # a long journal makes every read slower, and each batch with it
            ctx.db.vault.checkpoint()
    return Forgotten(tuple(run.gone), kept, dict(run.counts), confirmed=prove and _confirm(ctx, actor), dry_run=False)


def erase_person(
    ctx: Context, actor: Actor, person_id: str, *, drop_copies: DropCopies | None = None, prove: bool = True,
    reason: str = "asked", still: Callable[[Unit], bool] = lambda unit: True,
) -> bool:  # fmt: skip
    """Erases one person of this shop at once, whatever their period; whether the bytes are proved gone.

    `still` is asked inside the transaction that destroys the key: nobody goes where it says no. Raises NotFound for
    somebody unknown here.
    """
    actor.need("forget")

    def known(unit: Unit, ids: Sequence[str]) -> Sequence[str]:
        if not people.exists(unit, person_id):
            raise NotFound("There is no such person", "Look the ticket up again.")
        return ids if still(unit) else ()

    _forget_batch(_Run(ctx, actor, reason, drop_copies), (person_id,), whom=known)
    return prove and _confirm(ctx, actor)


def finish_cut_off(
    ctx: Context, actor: Actor, *, since: datetime | None = None, drop_copies: DropCopies | None = None
) -> int:  # fmt: skip
    """Erases the rest of whoever lost their key (`since` then) in a run that was cut off before their rows; how many.

    Whatever their period: until then no page can show what they have a part in. A run may be at whoever lost it a
    moment ago (STILL).
    """
    actor.need("forget")
    lost = [who for who, at in ctx.db.vault.erased(since) if at <= ctx.clock() - STILL]
    with ctx.db.read(actor.shop_id) as unit:
        left = erasing.not_yet(unit, lost)
    run = _Run(ctx, actor, "cut_off", drop_copies)
    for some in chunks(left, erasing.BATCH):
        _forget_batch(run, some, whom=lambda _, ids: ids)
    return len(left)


def erase_listed(ctx: Context, actor: Actor, person_ids: Sequence[str], *, reason: str) -> None:
    """Erases people of this shop whom a restored backup still has; those named in their passes go with them.

    The bytes are proved gone as all others are, by `confirm`.
    """
    run = _Run(ctx, actor, reason, None)
    for some in chunks(person_ids, erasing.BATCH):
        _forget_batch(run, some, whom=lambda _, ids: ids)


def forget_delegates(ctx: Context, actor: Actor, *, drop_copies: DropCopies | None = None) -> int:
    """Erases whoever was named in a pass once that has ended and the shop's days for it are over; how many.

    Independent of the customer, who is kept longer. The mail that told the customer the name goes empty too. The bytes
    are proved gone as all others are, by `confirm`. While the clock is in doubt nobody goes.
    """
    actor.need("forget")
    run = _Run(ctx, actor, "pass_over", drop_copies)
    with ctx.db.read(actor.shop_id) as unit:
        due = () if watch_clock.doubt(ctx, unit) else delegates_due(ctx, unit)
    for some in chunks(due, erasing.BATCH):
        with ctx.db.write(actor.shop_id) as unit:
            copies = _destroy(ctx, unit, some)
        _overwrite(run, (), some, copies)
    return len(due)


def confirm(ctx: Context, actor: Actor, *, may_hold_up: bool = True) -> bool:
    """Rewrites the files and marks erasures as proved; False while a reader is in the way, or there is no room.

    Unless it `may_hold_up` others, files too large to be rewritten soon wait for closed hours (erasing.SOON).
    """
    with ctx.db.read(actor.shop_id) as unit:
        pending = erasing.unconfirmed(unit)
    if not pending:
        return True
    keys_gone = ctx.db.vault.tidy_once()  # always at once: the key store is small
    if not keys_gone or not (may_hold_up or erasing.is_soon_rewritten(ctx.db)):
        return False
    done = erasing.rewrite(ctx.db)
    if done:
        with ctx.db.write(actor.shop_id) as unit:
            erasing.confirm_erasures(unit, pending, at=ctx.clock())
        ctx.db.checkpoint(truncate=True)
    return done


def prove_due(ctx: Context, actor: Actor, shop_ids: Iterable[str]) -> bool:
    """What the service does each minute: as `confirm`, large files in closed hours and not in the middle of a run.

    A run says with each batch when it was (erasing.add_erasure); a rewriting beside it would stop it for seconds.
    """
    with ctx.db.read(actor.shop_id) as unit:
        newest = erasing.newest_unconfirmed(unit)
    goes_on = newest is not None and ctx.clock() - newest < STILL
    return confirm(ctx, actor, may_hold_up=not goes_on and quiet_hours.is_quiet(ctx, shop_ids))


def _confirm(ctx: Context, actor: Actor) -> bool:
    """On SQLite whoever proves has the files to themselves; on PostgreSQL a counter may be open."""
    quiet = ctx.db.is_sqlite or quiet_hours.is_quiet(ctx, shops.shop_ids(ctx.db))
    return confirm(ctx, actor, may_hold_up=quiet)


def _fitting(size: int, held: float, *, most: int) -> int:
    """How many hold the lock for HELD, when so many held it that long."""
    return most if held * most <= HELD * size else min(most, max(FEWEST, round(size * HELD / held)))


@contextmanager
def _write(run: _Run) -> Iterator[Unit]:
    with run.ctx.db.write(run.actor.shop_id) as unit:
        began = run.ticks()
        yield unit
    run.held = max(run.held, run.ticks() - began)


def _forget_batch(run: _Run, ids: Sequence[str], *, whom: Callable[[Unit, Sequence[str]], Sequence[str]]) -> None:
    run.held = 0.0
    with _write(run) as unit:
        due = tuple(whom(unit, ids))
        named = erasing.delegates_of(unit, due) if due else ()
        copies = _destroy(run.ctx, unit, (*due, *named))
    run.rest()
    _overwrite(run, due, named, copies)


def _destroy(ctx: Context, unit: Unit, due: Sequence[str]) -> tuple[str, ...]:
    """The keys go first: a crash from here on leaves unreadable rows, never readable ones without a reason.

    The Message-IDs of kept copies. Until their rows are overwritten the people are still due, so that a run
    that was cut off anywhere is finished by the next one.
    """
    if not due:
        return ()
    copies = erasing.message_ids_of(unit, erasing.traces_of(unit, due))
    copies += erasing.kept_copies(unit, erasing.messages_naming(unit, due))
    copies += replies.letter_ids_of(unit, due)  # of what they wrote: to be read before the keys go
    letters.note_to_drop(unit, copies, at=ctx.clock())
    people_changed(unit, due)  # a page that was kept in memory must not outlive the keys
    ctx.db.vault.destroy_keys(due, at=ctx.clock())
    return copies


def _overwrite(run: _Run, due: Sequence[str], named: Sequence[str], copies: Sequence[str]) -> None:
    """Copies before rows: once the rows are empty nothing tells any more which copies were theirs.

    `due` are customers, `named` whom they named in passes.
    """
    if not due and not named:
        return
    ctx, counts = run.ctx, Counter[str]()
    if run.drop_copies is not None and copies:
        counts["copies"] = run.drop_copies(copies)
    with _write(run) as unit:
        counts += _of_named(unit, named, at=ctx.clock())
        traces = erasing.traces_of(unit, due)
        counts.update(erasing.overwrite(unit, traces, at=ctx.clock()))
        counts["people"] = len(due)  # customers; their rows and those of whom they named were counted above
        record_silent(ctx, unit, run.actor, "person_forgotten", visit_ids=traces.visits)
        run.record_id = erasing.add_erasure(unit, at=ctx.clock(), reason=run.reason, counts=counts, to=run.record_id)
    run.gone.extend(due)
    run.counts.update(counts)


def _of_named(unit: Unit, named: Sequence[str], *, at: datetime) -> Counter[str]:
    """Whom customers named in passes, and the mails that told who had collected."""
    if not named:
        return Counter()
    told = erasing.empty_messages(unit, erasing.messages_naming(unit, named))
    counts = Counter(erasing.overwrite(unit, erasing.traces_of(unit, named), at=at))
    people_changed(unit, named)
    return counts + Counter(messages=told, delegates=len(named))

"""Forget people whose time is over: key destroyed, rows overwritten, file rewritten and proved; or a dry run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.flows.context import Context
from notify.flows.keeping import delegates_due, who_is_due
from notify.flows.record import record
from notify.store import erasing, people
from notify.store.database import Unit
from notify.store.stamps import people_changed


@dataclass(frozen=True, slots=True)
class Forgotten:
    """Who would go or went, who stays and why (identifiers only), and whether the bytes are proved gone."""

    due: tuple[str, ...]
    kept: tuple[tuple[str, str], ...]
    counts: dict[str, int]
    confirmed: bool
    dry_run: bool


def forget(
    ctx: Context,
    actor: Actor,
    *,
    dry_run: bool = False,
    drop_copies: Callable[[Sequence[str]], int] | None = None,
    prove: bool = True,
) -> Forgotten:
    """Erases every person whose last ticket was closed longer ago than the shop keeps contact data.

    Without `prove` the rewriting of the files is left to whoever serves them: two processes that both
    checkpoint meet SQLite's WAL-reset race (sqlite.org/wal.html#walresetbug).

    `drop_copies` removes kept copies of messages (the Maildir of a folder channel) by Message-ID. People
    with an unpaid repair or a device left behind stay, with that reason. `confirmed` is False while a
    reader holds old pages: the next run proves it. Not legal advice: periods are the shop's settings.
    """
    actor.need("forget")
    if dry_run:
        with ctx.db.read(actor.shop_id) as unit:
            due, kept = who_is_due(ctx, unit)
            return Forgotten(due, kept, {}, confirmed=False, dry_run=True)
    with ctx.db.write(actor.shop_id) as unit:  # nobody can take a handover back meanwhile
        due, kept = who_is_due(ctx, unit)
        named = erasing.delegates_of(unit, due)
        copies = _destroy(ctx, unit, (*due, *named))
    counts = _finish(ctx, actor, due, named, copies, drop_copies, reason="period_over")
    return Forgotten(due, kept, counts, confirmed=prove and confirm(ctx, actor), dry_run=False)


def erase_person(
    ctx: Context,
    actor: Actor,
    person_id: str,
    *,
    drop_copies: Callable[[Sequence[str]], int] | None = None,
    prove: bool = True,
) -> bool:
    """Erases one person of this shop at once, whatever their period; whether the bytes are proved gone.

    Raises NotFound for somebody unknown here.
    """
    actor.need("forget")
    with ctx.db.write(actor.shop_id) as unit:
        if not people.exists(unit, person_id):
            raise NotFound("There is no such person", "Look the ticket up again.")
        named = erasing.delegates_of(unit, (person_id,))
        copies = _destroy(ctx, unit, (person_id, *named))
    _finish(ctx, actor, (person_id,), named, copies, drop_copies, reason="asked")
    return prove and confirm(ctx, actor)


def forget_delegates(ctx: Context, actor: Actor, *, drop_copies: Callable[[Sequence[str]], int] | None = None) -> int:
    """Erases whoever was named in a pass once that has ended and the shop's days for it are over; how many.

    Independent of the customer, who is kept longer. The mail that told the customer the name goes empty too. The bytes
    are proved gone as all others are, by `confirm`.
    """
    actor.need("forget")
    with ctx.db.write(actor.shop_id) as unit:
        named = delegates_due(ctx, unit)
        if not named:
            return 0
        copies = _destroy(ctx, unit, named)
    _finish(ctx, actor, (), named, copies, drop_copies, reason="pass_over")
    return len(named)


def confirm(ctx: Context, actor: Actor) -> bool:
    """Rewrites the files and marks erasures as proved; False while a reader is in the way, or there is no room."""
    with ctx.db.read(actor.shop_id) as unit:
        pending = erasing.unconfirmed(unit)
    if not pending:
        return True
    done = erasing.rewrite(ctx.db) and ctx.db.vault.tidy()
    if done:
        with ctx.db.write(actor.shop_id) as unit:
            erasing.confirm_erasures(unit, pending, at=ctx.clock())
        ctx.db.checkpoint(truncate=True)
    return done


def _destroy(ctx: Context, unit: Unit, due: tuple[str, ...]) -> tuple[str, ...]:
    """The keys go first: a crash from here on leaves unreadable rows, never readable ones without a reason.

    The Message-IDs of kept copies. Until their rows are overwritten the people are still due, so that a run
    that was cut off anywhere is finished by the next one.
    """
    naming = erasing.messages_naming(unit, due)
    copies = (*erasing.message_ids_of(unit, due), *erasing.kept_copies(unit, naming))
    if due:
        people_changed(unit, due)  # a page that was kept in memory must not outlive the keys
        ctx.db.vault.destroy_keys(due, at=ctx.clock())
    return copies


def _finish(
    ctx: Context, actor: Actor, due: tuple[str, ...], named: tuple[str, ...], copies: tuple[str, ...],
    drop_copies: Callable[[Sequence[str]], int] | None, *, reason: str,
) -> dict[str, int]:  # fmt: skip
    """Copies before rows: once the rows are empty nothing tells any more which copies were theirs.

    `due` are customers, `named` whom they named in passes.
    """
    if not due and not named:
        return {}
    dropped = {"copies": drop_copies(copies)} if drop_copies is not None and copies else {}
    with ctx.db.write(actor.shop_id) as unit:
        naming = erasing.empty_messages(unit, erasing.messages_naming(unit, named))
        counts = {**erasing.overwrite(unit, (*due, *named), at=ctx.clock()), "people": len(due), **dropped}
        counts |= {"delegates": len(named), "messages": counts.get("messages", 0) + naming} if named else {}
        for visit_id in erasing.visits_of(unit, due):
            record(ctx, unit, actor, "person_forgotten", visit_id=visit_id)
        erasing.add_erasure(unit, at=ctx.clock(), reason=reason, counts=counts)
        return counts

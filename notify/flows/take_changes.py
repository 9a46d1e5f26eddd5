"""Take a batch of changes that a source tells: short transactions, a savepoint per row, each change once.

What cannot be taken waits for a person as a doubt (flows/doubts.py); nothing is guessed and nothing is lost.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from notify.core.actors import Actor
from notify.core.sources import Batch, Change, Taken
from notify.flows.context import Context
from notify.flows.take_row import Turn
from notify.flows.taker import Taker
from notify.store import sources
from notify.store.database import Unit

MOST = 100  # rows of one turn
PAUSE = 0.05  # seconds; a lock is given to whoever waits for it only while nobody asks for it again at once


class _DryRun(Exception):
    """Rolls a trial back."""


def take(
    ctx: Context, actor: Actor, batch: Batch, changes: Sequence[Change], *, is_last: bool = True,
    before: Taken | None = None, refused: int = 0, dry_run: bool = False,
    pause: Callable[[float], None] = time.sleep,
) -> Taken:  # fmt: skip
    """Takes up to a hundred changes; the same batch or row twice changes nothing more.

    In one transaction, or in several with a `pause` between them where many rows take a device in: so others who write
    wait for a tenth of a second or two, not for all of it. Each row is whole or not there, wherever it is cut off.

    A long batch comes in turns, each with the same `batch`, with pauses between them in which others may write. One
    with a digest counts as known after the turn that `is_last`; `before` is what came of the turns before, `refused`
    how many of its lines could not be read at all. Cut off between, it is read again, and rows already taken change
    nothing. With `dry_run` nothing changes: each turn is tried as if it were the first. Raises ValueError for more.
    """
    if len(changes) > MOST:
        raise ValueError(f"a turn has at most {MOST} changes")
    result, rest = Taken(), list(changes)
    while True:
        with suppress(_DryRun), ctx.db.write(actor.shop_id) as unit, unit.grouped():
            if batch.digest and sources.file_known(unit, batch.source, batch.digest):
                return Taken(unchanged=tuple(change.line for change in changes), known=True)
            taker = _takes(ctx, unit, actor, batch, rest)
            rest = taker.take_some(rest)
            result += taker.finish()
            if batch.digest and is_last and not rest:
                _note_whole(ctx, unit, batch, (before or Taken()) + result, refused)
            if dry_run:
                raise _DryRun
        if not rest:
            return result
        pause(PAUSE)


def _note_whole(ctx: Context, unit: Unit, batch: Batch, whole: Taken, refused: int) -> None:
    sources.add_file(unit, batch.source, batch.digest, at=ctx.clock(), taken=len(whole.taken),
                     refused=len(whole.doubted) + refused)  # fmt: skip


def take_within(ctx: Context, unit: Unit, actor: Actor, batch: Batch, changes: Sequence[Change]) -> Taken:
    """Like take, inside the caller's transaction; the digest of the batch is not looked at."""
    taker = _takes(ctx, unit, actor, batch, changes)
    for change in changes:
        taker.take(change)
    return taker.finish()


def _takes(ctx: Context, unit: Unit, actor: Actor, batch: Batch, changes: Sequence[Change]) -> Taker:
    actor.need("move")
    taker = Taker(Turn(ctx, unit, actor, batch, ctx.clock()))
    taker.read_ahead(changes)
    return taker

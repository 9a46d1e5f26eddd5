"""Take one signed call of another system: it acts once, and is said to be taken only when it is."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.config.settings import Watch
from notify.core.actors import Actor
from notify.core.sources import Change, Taken
from notify.flows import source_state, take_changes
from notify.flows.context import Context
from notify.store import letters
from notify.store.database import Unit

# Much longer than a signature counts (core/signed_call.TOLERANCE), and than senders try again: the text of Standard
# Webhooks shows a schedule of 75 hours.
KEPT = timedelta(days=14)
SOURCE, KIND = "watch", "call"


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that a call tells; `mark` names it beyond this call ("" where nothing does)."""

    change: Change
    mark: str = ""


def take_call(ctx: Context, actor: Actor, watch: Watch, call_id: str, told: Sequence[Told]) -> Taken:
    """What came of a call, in one transaction with the note that it was taken.

    A call whose id was seen before changes nothing, whatever it holds; nor does a thing whose mark was. What cannot
    be taken waits for a person, so that the sender, who could not mend it, need not send it again. A word without a
    time of its own may have been said at any moment since the call before, since senders try again for days.
    """
    now = ctx.clock()
    with ctx.db.write(actor.shop_id) as unit:
        if not _is_new(unit, watch.name, f"call\0{call_id}", now):
            return Taken(known=True)
        new = [one for one in told if not one.mark or _is_new(unit, watch.name, f"thing\0{one.mark}", now)]
        batch = source_state.batch_within(unit, watch)
        taken = take_changes.take_within(ctx, unit, actor, batch, [one.change for one in new])
        source_state.looked_within(unit, watch.name, at=now)
    lines = {one.change.line for one in new}
    return Taken(unchanged=tuple(one.change.line for one in told if one.change.line not in lines)) + taken


def tidy(ctx: Context, actor: Actor) -> int:
    """Drops the notes of calls that can no longer come again; how many."""
    with ctx.db.write(actor.shop_id) as unit:
        return letters.forget_taken(unit, before=ctx.clock() - KEPT, kinds=(KIND,))


def _is_new(unit: Unit, source: str, name: str, now: datetime) -> bool:
    """By a hash: an id may be anything that the other system likes, a name too."""
    key = hashlib.sha256(f"{source}\0{name}".encode()).hexdigest()
    return letters.take(unit, SOURCE, key, kind=KIND, at=now)

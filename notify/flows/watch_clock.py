"""Watches whether the machine's clock can be believed, and lets a person say that it is right."""

from __future__ import annotations

from datetime import timedelta

from notify.core import clock_trail
from notify.core.actors import Actor
from notify.flows.context import Context
from notify.store import clock_trails
from notify.store.database import Unit

NO_SHOP = "-"  # the clock is the installation's
WHY = {
    "back": "The machine's clock has gone back",
    "refuted": "The machine's clock has leapt while the machine was running, or by more than any holiday",
    "unproved": "The machine's clock is far from where it was last seen, and nothing yet shows that it is right",
}


def look(ctx: Context, *, ran: timedelta | None) -> str:
    """Looks at the clock and keeps what follows; why it is not believed, empty when it is.

    `ran` is how long the machine says that it has been running since the last look; None after its start.
    """
    now = ctx.clock()
    with ctx.db.write_beside(NO_SHOP) as unit:
        before = clock_trails.get(unit)
        worked = before is not None and before.leapt_at is not None and clock_trails.worked_since(unit, before.leapt_at)
        after = clock_trail.look(before, now, ran=ran, worked=worked)
        clock_trails.put(unit, after)
    return clock_trail.doubt(after, now)


def vouch(ctx: Context, actor: Actor) -> None:
    """A person has looked at the clock and says that it is right."""
    actor.need("forget")
    with ctx.db.write(actor.shop_id) as unit:
        clock_trails.put(unit, clock_trail.Trail(ctx.clock()))


def doubt(ctx: Context, unit: Unit) -> str:
    """Why the clock is not believed now; empty when it is."""
    return clock_trail.doubt(clock_trails.get(unit), ctx.clock())


def why_not(ctx: Context, shop_id: str) -> str:
    """Why what hangs on the time is not done now (a key of WHY); empty when it is."""
    with ctx.db.read(shop_id) as unit:
        return doubt(ctx, unit)


def is_believed(ctx: Context, shop_id: str) -> bool:
    """Whether what hangs on the time may be done now."""
    return not why_not(ctx, shop_id)

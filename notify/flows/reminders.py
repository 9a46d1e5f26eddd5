"""What the clock does about pickups: remind of a time that comes near, note who did not come, remind of the shelf."""

from __future__ import annotations

from datetime import timedelta

from notify.core.actors import Actor
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.pickup import tell
from notify.flows.record import record
from notify.store import bookings, idempotent, tickets
from notify.store.database import Unit


def remind_due(ctx: Context, actor: Actor) -> int:
    """Plans the reminder of every booking whose time comes near; each once. How many."""
    with ctx.db.write(actor.shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        near = bookings.bookings_between(unit, now, now + timedelta(hours=shop.reminder_hours))
        fresh = [b for b in near if not b.reminded and b.changed_at < now - timedelta(hours=1)]
        for booking in fresh:
            bookings.mark(unit, booking, reminded=True)
            tell(ctx, unit, actor, "pickup_came_near", booking.id)
        return len(fresh)


def note_missed(ctx: Context, actor: Actor) -> int:
    """Closes bookings whose slot ended two hours ago with the device still here. How many."""
    with ctx.db.write(actor.shop_id) as unit:
        now = ctx.clock()
        past = bookings.bookings_between(unit, now - timedelta(days=60), now - timedelta(hours=2))
        for booking in past:
            bookings.close_booking(unit, booking, "missed", at=now)
            record(ctx, unit, actor, "pickup_missed", visit_id=booking.visit_id,
                   codes={"booking": booking.id, "revision": booking.revision + 1})  # fmt: skip
        return len(past)


def remind_collection(ctx: Context, actor: Actor) -> int:
    """Plans the next collection reminder for visits long on the shelf: so many as the shop set, then none."""
    done = 0
    with ctx.db.write(actor.shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        seen: set[str] = set()
        for ticket in tickets.tickets_in(unit, (Phase.ON_SHELF,)):
            if ticket.visit_id in seen or bookings.live_booking(unit, ticket.visit_id):
                continue
            seen.add(ticket.visit_id)
            due = [days for days in shop.collection_days if ticket.phase_since + timedelta(days=days) <= now]
            if due:
                cause = f"collection:{ticket.visit_id}:{due[-1]}"
                done += _remind_once(ctx, unit, actor, ticket.visit_id, cause, days=due[-1])
    return done


def _remind_once(ctx: Context, unit: Unit, actor: Actor, visit_id: str, cause: str, *, days: int) -> int:
    if idempotent.recall(unit, cause):
        return 0
    idempotent.keep(unit, cause, {"days": days}, at=ctx.clock())
    record(ctx, unit, actor, "collection_overdue", visit_id=visit_id, codes={"days": days}, cause=cause)
    return 1

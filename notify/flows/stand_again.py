"""Take a pickup up again that ended by a slip: its place, if there is still room, and its entry in the calendar."""

from __future__ import annotations

from datetime import datetime

from notify.core.actors import Actor
from notify.core.messages import MessageState
from notify.core.slots import slots_on
from notify.flows.context import Context
from notify.flows.pickup import tell
from notify.store import bookings, messages, shops
from notify.store.bookings import Booking
from notify.store.database import Unit

_TOLD_BY = {"pickup_confirmed": "pickup_booked", "pickup_moved": "pickup_moved"}


def stand_again(ctx: Context, unit: Unit, actor: Actor, booking_id: str) -> bool:
    """Whether a closed booking stands again in its own place, inside the caller's transaction.

    It does not once the place is another's, the visit has another booking, or hours have changed so that there is no
    room. What the customer should have been told of it, and was not because it was closed, is told anew.
    """
    booking, now = bookings.get_booking(unit, booking_id), ctx.clock()
    if booking is None or not _has_room(ctx, unit, booking):
        return False
    if not bookings.stand_again(unit, booking_id, at=now):
        return False
    if notice := _lost(unit, booking, revision=booking.revision - 1):
        tell(ctx, unit, actor, _TOLD_BY[notice], booking_id, again=booking.changes + 1)
    return True


def stand_after_handover(ctx: Context, unit: Unit, actor: Actor, visit_id: str) -> None:
    """A handover is taken back: a pickup still to come stands again, or the calendar learns that it does not."""
    booking = bookings.kept_booking(unit, visit_id, now=ctx.clock())
    if booking is None or stand_again(ctx, unit, actor, booking.id):
        return
    if booking.invited and bookings.live_booking(unit, visit_id) is None:
        bookings.close_booking(unit, booking, "cancelled", at=ctx.clock())
        tell(ctx, unit, actor, "pickup_cancelled", booking.id, "too_many")


def _has_room(ctx: Context, unit: Unit, booking: Booking) -> bool:
    counter = shops.get_counter(unit, ctx.shop(unit))
    day = datetime.fromisoformat(booking.local_start).date()
    cut = [one for one in slots_on(counter, day) if one.start < booking.end_at and one.end > booking.start_at]
    if not cut:
        return False
    first, last = min(one.start for one in cut), max(one.end for one in cut)
    taken = bookings.occupied(unit, first, last, but_for=booking.visit_id)
    return all(taken.during(one) < one.capacity for one in cut)


def _lost(unit: Unit, booking: Booking, *, revision: int) -> str:
    """The notice of that revision if nobody has it and nobody will: one in hand may just be found untrue."""
    said = [one for one in messages.messages_of_visit(unit, booking.visit_id)
            if one.notice in _TOLD_BY and one.refs.get("booking") == booking.id
            and one.refs.get("revision") == revision and one.person_id]  # fmt: skip
    waits = any(one.state == MessageState.WAITING and not one.leased for one in said)
    told = any(one.state not in (MessageState.WAITING, MessageState.DROPPED, MessageState.SKIPPED) for one in said)
    return "" if waits or told or not said else said[-1].notice

"""Where a time that a calendar asked for fits in: the slot that holds it, or the nearest free ones."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.flows.context import Context
from notify.flows.pickup import Offer, each_place
from notify.store.bookings import Booking
from notify.store.database import Unit

NEAREST = 3


@dataclass(frozen=True, slots=True)
class Fit:
    """`slot` is the free one that holds the time asked for, None when it is full or there is none; then `near` are the
    nearest free ones in order of time. `is_own`: the time lies within the pickup as it is."""

    slot: Offer | None
    near: tuple[Offer, ...] = ()
    is_own: bool = False


def fit_in(ctx: Context, unit: Unit, booking: Booking, wanted: datetime | None) -> Fit:
    """What can be done for a proposal about `booking`; `wanted` is None for a time that could not be read."""
    if wanted is not None and booking.start_at <= wanted < booking.end_at:
        return Fit(None, is_own=True)
    free = [one for one in each_place(ctx, unit, booking.visit_id) if one.free > 0 and not one.is_own]
    if wanted is None:
        return Fit(None, tuple(free[:NEAREST]))
    held = next((one for one in free if one.slot.start <= wanted < one.slot.end), None)
    if held is not None:
        return Fit(held)
    nearest = sorted(free, key=lambda one: abs(one.slot.start - wanted))[:NEAREST]
    return Fit(None, tuple(sorted(nearest, key=lambda one: one.slot.start)))

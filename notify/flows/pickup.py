"""Offer pickup slots; book, move and cancel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import Conflict, NotFound
from notify.core.slots import Slot, check_bookable, each_slot, slot_at
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import bookings, idempotent, shops, tickets, visits
from notify.store.bookings import Booking
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Offer:
    """A slot with the places left in it."""

    slot: Slot
    free: int


def offers(ctx: Context, actor: Actor, visit_id: str) -> tuple[Offer, ...]:
    """The slots with free places for a visit that has something on the shelf; empty when it has not."""
    with ctx.db.read(actor.shop_id) as unit:
        return offers_within(ctx, unit, visit_id)


def offers_within(ctx: Context, unit: Unit, visit_id: str) -> tuple[Offer, ...]:
    """Like offers, inside the caller's transaction."""
    return tuple(_each_offer(ctx, unit, visit_id))


def has_offer(ctx: Context, unit: Unit, visit_id: str) -> bool:
    """Whether there is any offer; looks no further than the first."""
    return next(_each_offer(ctx, unit, visit_id), None) is not None


def _each_offer(ctx: Context, unit: Unit, visit_id: str) -> Iterator[Offer]:
    if not _ready_since(unit, visit_id):
        return
    shop, now = ctx.shop(unit), ctx.clock()
    taken = bookings.occupied(unit, now, now + timedelta(days=shop.horizon_days + 2), but_for=visit_id)
    own = bookings.live_booking(unit, visit_id)
    for slot in each_slot(shops.get_counter(unit, shop), now=now):
        free = slot.capacity - taken.during(slot)
        if free > 0 and not (own and own.start_at == slot.start):
            yield Offer(slot, free)


def book(ctx: Context, actor: Actor, visit_id: str, local: datetime, *, fold: int = 0, once: str = "") -> Booking:
    """Takes a place at shop-local `local` (naive), or moves the visit's booking there.

    `once` is an idempotency key. Raises Invalid (no such slot, too soon, too far ahead), Taken (full) or
    Conflict (nothing ready).
    """
    actor.need("book")
    with ctx.db.write(actor.shop_id) as unit:
        if once and (known := idempotent.recall(unit, f"book:{visit_id}:{once}")):
            return _must(unit, str(known["booking"]))
        if not _ready_since(unit, visit_id):
            raise Conflict("Nothing is ready to collect yet", "Choose a time once the shop says so.")
        shop, now = ctx.shop(unit), ctx.clock()
        counter = shops.get_counter(unit, shop)
        slot = slot_at(counter, local, fold)
        check_bookable(counter, slot, now=now)
        booking = take(ctx, unit, actor, visit_id, slot)
        if once:
            idempotent.keep(unit, f"book:{visit_id}:{once}", {"booking": booking.id}, at=now)
        return booking


def take(ctx: Context, unit: Unit, actor: Actor, visit_id: str, slot: Slot) -> Booking:
    """Books that slot for a visit, or moves its booking there, inside the caller's transaction; raises Taken."""
    now, own = ctx.clock(), bookings.live_booking(unit, visit_id)
    if own is not None and own.start_at == slot.start:
        return own
    if own is not None:
        bookings.move_booking(unit, own, slot, at=now)
        return tell(ctx, unit, actor, "pickup_moved", own.id)
    person = visits.visit_people(unit, visit_id)["tell"][0]
    token = "".join("abcdefghijkmnpqrstuvwxyz23456789"[ctx.pick(32)] for _ in range(26))  # 130 bits, no look-alikes
    new = bookings.add_booking(unit, visit_id=visit_id, person_id=person, slot=slot, uid=unit.new_id(),
                               organizer_token=token, at=now)  # fmt: skip
    return tell(ctx, unit, actor, "pickup_booked", new)


def tell(
    ctx: Context, unit: Unit, actor: Actor, kind: str, booking_id: str, why: str = "", *, how: str = ""
) -> Booking:
    """Records what became of a booking, with the messages that follow from it; the booking as it stands now.

    `why` is a code of the words file, `how` says by what way it came when that was no page and no command.
    """
    booking = _must(unit, booking_id)
    codes: dict[str, str | int] = {"booking": booking.id, "revision": booking.revision}
    codes |= {name: said for name, said in (("why", why), ("how", how)) if said}
    ends = dict.fromkeys(("pickup_confirmed", "pickup_moved", "pickup_reminder", "pickup_cancelled"), booking.end_at)
    record(ctx, unit, actor, kind, visit_id=booking.visit_id, codes=codes, expires=ends,
           cause=f"booking:{booking.id}:{booking.revision}:{kind}")  # fmt: skip
    return booking


def cancel(ctx: Context, actor: Actor, visit_id: str, *, why: str = "you_asked") -> Booking:
    """Gives the visit's place up; raises NotFound when it has none. `why` is a code of the words file."""
    actor.need("book")
    with ctx.db.write(actor.shop_id) as unit:
        booking = bookings.live_booking(unit, visit_id)
        if booking is None:
            raise NotFound("There is no booking to cancel", "Nothing needs to be done.")
        return give_up(ctx, unit, actor, booking, why=why)


def give_up(ctx: Context, unit: Unit, actor: Actor, booking: Booking, *, why: str, how: str = "") -> Booking:
    """Frees the place of a booking that stands and tells it, inside the caller's transaction."""
    bookings.close_booking(unit, booking, "cancelled", at=ctx.clock())
    return tell(ctx, unit, actor, "pickup_cancelled", booking.id, why, how=how)


def _ready_since(unit: Unit, visit_id: str) -> bool:
    return any(phase is Phase.ON_SHELF for phase in tickets.phases_of_visit(unit, visit_id).values())


def _must(unit: Unit, booking_id: str) -> Booking:
    booking = bookings.get_booking(unit, booking_id)
    if booking is None:
        raise NotFound("There is no such booking", "Look at the list of pickups.")
    return booking

"""Offer pickup slots; book, move and cancel; note who did not come; send reminders."""

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
        booking = _take(ctx, unit, actor, visit_id, slot)
        if once:
            idempotent.keep(unit, f"book:{visit_id}:{once}", {"booking": booking.id}, at=now)
        return booking


def _take(ctx: Context, unit: Unit, actor: Actor, visit_id: str, slot: Slot) -> Booking:
    now, own = ctx.clock(), bookings.live_booking(unit, visit_id)
    if own is not None and own.start_at == slot.start:
        return own
    if own is not None:
        bookings.move_booking(unit, own, slot, at=now)
        return _tell(ctx, unit, actor, "pickup_moved", own.id)
    person = visits.visit_people(unit, visit_id)["tell"][0]
    token = "".join("abcdefghijkmnpqrstuvwxyz23456789"[ctx.pick(32)] for _ in range(26))  # 130 bits, no look-alikes
    new = bookings.add_booking(unit, visit_id=visit_id, person_id=person, slot=slot, uid=unit.new_id(),
                               organizer_token=token, at=now)  # fmt: skip
    return _tell(ctx, unit, actor, "pickup_booked", new)


def _tell(ctx: Context, unit: Unit, actor: Actor, kind: str, booking_id: str, why: str = "") -> Booking:
    booking = _must(unit, booking_id)
    codes: dict[str, str | int] = {"booking": booking.id, "revision": booking.revision}
    if why:
        codes["why"] = why
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
        bookings.close_booking(unit, booking, "cancelled", at=ctx.clock())
        return _tell(ctx, unit, actor, "pickup_cancelled", booking.id, why)


def remind_due(ctx: Context, actor: Actor) -> int:
    """Plans the reminder of every booking whose time comes near; each once. How many."""
    with ctx.db.write(actor.shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        near = bookings.bookings_between(unit, now, now + timedelta(hours=shop.reminder_hours))
        fresh = [b for b in near if not b.reminded and b.changed_at < now - timedelta(hours=1)]
        for booking in fresh:
            bookings.mark(unit, booking, reminded=True)
            _tell(ctx, unit, actor, "pickup_came_near", booking.id)
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


def _ready_since(unit: Unit, visit_id: str) -> bool:
    return any(phase is Phase.ON_SHELF for phase in tickets.phases_of_visit(unit, visit_id).values())


def _must(unit: Unit, booking_id: str) -> Booking:
    booking = bookings.get_booking(unit, booking_id)
    if booking is None:
        raise NotFound("There is no such booking", "Look at the list of pickups.")
    return booking

"""Offer pickup slots; book, move and cancel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from notify.core.actors import Actor
from notify.core.errors import Conflict, NotFound
from notify.core.slots import Slot, check_bookable, each_slot, slot_at
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import bookings, idempotent, shops, tickets, visits
from notify.store.bookings import Booking
from notify.store.database import Unit

# Notices that are of no use any more once the slot is over.
_ENDS_WITH_IT = ("pickup_confirmed", "pickup_moved", "pickup_reminder", "pickup_cancelled", "proposal_declined")


@dataclass(frozen=True, slots=True)
class Offer:
    """A slot with the places left in it; `is_own` when the visit that asks holds one of the others."""

    slot: Slot
    free: int
    is_own: bool = False


class UsedKey(Conflict):
    """An idempotency key came a second time with another wish."""


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
    return (one for one in each_place(ctx, unit, visit_id) if one.free > 0 and not one.is_own)


def each_place(ctx: Context, unit: Unit, visit_id: str) -> Iterator[Offer]:
    """Every slot that a visit with something on the shelf could book, the full ones and its own among them."""
    if not something_ready(unit, visit_id):
        return
    shop, now = ctx.shop(unit), ctx.clock()
    taken = bookings.occupied(unit, now, now + timedelta(days=shop.horizon_days + 2), but_for=visit_id)
    own = bookings.live_booking(unit, visit_id)
    for slot in each_slot(shops.get_counter(unit, shop), now=now):
        yield Offer(slot, slot.capacity - taken.during(slot), own is not None and own.start_at == slot.start)


def book(
    ctx: Context, actor: Actor, visit_id: str, local: datetime, *, fold: int = 0, once: str = "", why: str = ""
) -> Booking:
    """Takes a place at shop-local `local` (naive), or moves the visit's booking there.

    `once` is an idempotency key: the same request again changes nothing and gives the booking as it is by then.
    `why` is a code of the words file that a moved customer is told. Raises Invalid (no such slot, too soon, too far
    ahead), Taken (full), UsedKey (the key came with another time) or Conflict (nothing ready).
    """
    return _place(ctx, actor, visit_id, local, fold=fold, once=once, why=why, only_move=False)


def move(
    ctx: Context, actor: Actor, visit_id: str, local: datetime, *, fold: int = 0, once: str = "", why: str = "",
    seen: str = "",
) -> Booking:  # fmt: skip
    """Like book, but only for a visit that has a place already; raises NotFound for one without.

    `seen` ("<booking>:<revision>"): raises Conflict if the place has changed since it looked so.
    """
    return _place(ctx, actor, visit_id, local, fold=fold, once=once, why=why, only_move=True, seen=seen)


def _place(
    ctx: Context, actor: Actor, visit_id: str, local: datetime, *, fold: int, once: str, why: str, only_move: bool,
    seen: str = "",
) -> Booking:  # fmt: skip
    actor.need("book")
    wanted = f"{local:%Y-%m-%dT%H:%M}/{fold}"
    with ctx.db.write(actor.shop_id) as unit:
        if once and (known := idempotent.recall(unit, f"book:{visit_id}:{once}")):
            return _as_it_is(unit, known, wanted)
        if only_move:
            _standing(unit, visit_id, seen, to="move")
        if not something_ready(unit, visit_id):
            raise Conflict("Nothing is ready to collect yet", "Choose a time once the shop says so.")
        shop, now = ctx.shop(unit), ctx.clock()
        counter = shops.get_counter(unit, shop)
        slot = slot_at(counter, local, fold)
        check_bookable(counter, slot, now=now)
        booking = take(ctx, unit, actor, visit_id, slot, why=why)
        if once:
            idempotent.keep(unit, f"book:{visit_id}:{once}", {"booking": booking.id, "slot": wanted}, at=now)
        return booking


def _as_it_is(unit: Unit, known: Any, wanted: str) -> Booking:
    """The booking of a request that was carried out already; raises UsedKey when that one wanted another time."""
    if known["slot"] != wanted:
        raise UsedKey(
            "This request was carried out already, with another time", "Look at the times anew.", field="once"
        )
    return _must(unit, str(known["booking"]))


def take(ctx: Context, unit: Unit, actor: Actor, visit_id: str, slot: Slot, *, why: str = "") -> Booking:
    """Books that slot for a visit, or moves its booking there, inside the caller's transaction; raises Taken."""
    now, own = ctx.clock(), bookings.live_booking(unit, visit_id)
    if own is not None and own.start_at == slot.start:
        return own
    if own is not None:
        bookings.move_booking(unit, own, slot, at=now)
        return tell(ctx, unit, actor, "pickup_moved", own.id, why)
    seat = bookings.free_seat(unit, slot)  # before all else: most of those who come too late learn it here
    person = visits.visit_people(unit, visit_id)["tell"][0]
    token = "".join("abcdefghijkmnpqrstuvwxyz23456789"[ctx.pick(32)] for _ in range(26))  # 130 bits, no look-alikes
    new = bookings.add_booking(unit, visit_id=visit_id, person_id=person, slot=slot, seat=seat, uid=unit.new_id(),
                               organizer_token=token, at=now)  # fmt: skip
    return tell(ctx, unit, actor, "pickup_booked", new)


def tell(
    ctx: Context, unit: Unit, actor: Actor, kind: str, booking_id: str, why: str = "", *, how: str = "", only: str = "",
    again: int = 0,
) -> Booking:  # fmt: skip
    """Records what became of a booking, with the messages that follow from it; the booking as it stands now.

    `why` is a code of the words file, `how` says by what way it came when that was no page and no command. `only` is
    the one person who is told; `again` numbers what may be said several times of one revision.
    """
    booking = _must(unit, booking_id)
    codes: dict[str, str | int] = {"booking": booking.id, "revision": booking.revision}
    codes |= {name: said for name, said in (("why", why), ("how", how), ("only", only)) if said}
    ends = dict.fromkeys(_ENDS_WITH_IT, booking.end_at)
    record(ctx, unit, actor, kind, visit_id=booking.visit_id, codes=codes, expires=ends,
           cause=f"booking:{booking.id}:{booking.revision}:{kind}{f':{again}' if again else ''}")  # fmt: skip
    return booking


def cancel(
    ctx: Context, actor: Actor, visit_id: str, *, why: str = "you_asked", once: str = "", seen: str = ""
) -> Booking:
    """Gives the visit's place up; raises NotFound when it has none. `why` is a code of the words file.

    `once` is an idempotency key: the same request again gives up no other place. `seen` as with move.
    """
    actor.need("book")
    with ctx.db.write(actor.shop_id) as unit:
        if once and (known := idempotent.recall(unit, f"cancel:{visit_id}:{once}")):
            return _must(unit, str(known["booking"]))
        booking = _standing(unit, visit_id, seen, to="cancel")
        if once:
            idempotent.keep(unit, f"cancel:{visit_id}:{once}", {"booking": booking.id}, at=ctx.clock())
        return give_up(ctx, unit, actor, booking, why=why)


def _standing(unit: Unit, visit_id: str, seen: str, *, to: str) -> Booking:
    """The place the visit has; raises NotFound without one, Conflict when it is no longer the one that was seen."""
    booking = bookings.live_booking(unit, visit_id)
    if booking is None:
        raise NotFound(f"There is no booking to {to}", "Nothing was changed.")
    if seen and seen != mark_of(booking):
        raise Conflict("The pickup was changed in the meantime", "Look at it anew.", field="slot")
    return booking


def mark_of(booking: Booking) -> str:
    """A booking as it looks now, for `seen`."""
    return f"{booking.id}:{booking.revision}"


def say_outcome(booking: Booking, when: str) -> str:
    """What became of a booking, for staff: the same sentence on each face; `when` as in "tomorrow at 17:30"."""
    if booking.state != "booked":
        return "The time is given up, and the customer is told."
    return f"The pickup is {'moved' if booking.revision else 'booked'}: {when}. The customer is told."


def give_up(ctx: Context, unit: Unit, actor: Actor, booking: Booking, *, why: str, how: str = "") -> Booking:
    """Frees the place of a booking that stands and tells it, inside the caller's transaction."""
    bookings.close_booking(unit, booking, "cancelled", at=ctx.clock())
    return tell(ctx, unit, actor, "pickup_cancelled", booking.id, why, how=how)


def something_ready(unit: Unit, visit_id: str) -> bool:
    """Whether any device of the visit lies on the shelf."""
    return any(phase is Phase.ON_SHELF for phase in tickets.phases_of_visit(unit, visit_id).values())


def _must(unit: Unit, booking_id: str) -> Booking:
    booking = bookings.get_booking(unit, booking_id)
    if booking is None:
        raise NotFound("There is no such booking", "Look at the list of pickups.")
    return booking

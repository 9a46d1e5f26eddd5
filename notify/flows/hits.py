"""Change hours, and see which bookings that hits; none is moved but by a person's decision."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta

from notify.core.actors import Actor
from notify.core.errors import Conflict, NotFound
from notify.core.hits import CLOSED, OFF_THE_LIST, TOO_MANY, Standing, find_hits
from notify.flows.context import Context
from notify.store import bookings, shops
from notify.store.bookings import Booking
from notify.store.database import Unit

# What a customer is told of a booking that is moved or given up because of it: codes of the words file.
TOLD = {CLOSED: "closed", TOO_MANY: "too_many", OFF_THE_LIST: "new_times"}
AHEAD = timedelta(days=400)  # no booking is further ahead than the longest horizon


@dataclass(frozen=True, slots=True)
class Hit:
    """A booking that needs a decision, and why: a code of core/hits."""

    booking: Booking
    why: str


class WouldHit(Conflict):
    """Hours were not changed, because bookings would be hit that are not hit now; `hits` are booking -> why."""

    def __init__(self, hits: dict[str, str]) -> None:
        said = "1 booking would be hit" if len(hits) == 1 else f"{len(hits)} bookings would be hit"
        super().__init__(said, "Nothing is changed yet. Agree, and decide about each of them afterwards.")
        self.hits = hits


def hits_within(ctx: Context, unit: Unit) -> tuple[Hit, ...]:
    """The bookings still to come that are hit, in order of time."""
    now = ctx.clock()
    coming = bookings.bookings_between(unit, now, now + AHEAD)
    standing = (Standing(b.id, b.start_at, b.end_at, b.made_at, b.stays) for b in coming)
    found = find_hits(shops.get_counter(unit, ctx.shop(unit)), standing)
    return tuple(Hit(one, found[one.id]) for one in coming if one.id in found)


@contextmanager
def changing_hours(ctx: Context, actor: Actor, *, unless_hit: bool) -> Iterator[Unit]:
    """The transaction of a change of hours. With `unless_hit` it is undone by WouldHit when it hits more bookings."""
    with ctx.db.write(actor.shop_id) as unit:
        before = {(hit.booking.id, hit.why) for hit in hits_within(ctx, unit)} if unless_hit else set()
        yield unit
        after = hits_within(ctx, unit) if unless_hit else ()
        fresh = {hit.booking.id: hit.why for hit in after if (hit.booking.id, hit.why) not in before}
        if fresh:
            raise WouldHit(fresh)


def let_stand(ctx: Context, actor: Actor, booking_id: str) -> None:
    """A person decides that a booking stands as it is, for the reason it is hit by now. Raises NotFound."""
    actor.need("book")
    with ctx.db.write(actor.shop_id) as unit:
        hit = next((one for one in hits_within(ctx, unit) if one.booking.id == booking_id), None)
        if hit is None:
            raise NotFound("This booking needs no decision any more", "Look at the list again.")
        bookings.note_stays(unit, hit.booking, hit.why)

"""What the clock does about pickups: remind of a time that comes near, note who did not come, remind of the shelf."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.core.events import Event
from notify.core.number_zones import zones_of
from notify.core.reminding import LOOK_BACK, Awake, awake_in, remind_at
from notify.core.shop import Shop
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import bookings, events, idempotent, people, tickets, visits
from notify.store.bookings import Booking
from notify.store.database import Unit

# A slot that ended so long ago with the device still here counts as missed (common practice, no source).
MISSED_AFTER = timedelta(hours=2)
_LOOK_BACK = timedelta(days=60)
_SHELVED = ("shelved", "shelved_unrepaired", "handover_undone")


def remind_due(ctx: Context, actor: Actor) -> int:
    """Plans the reminder of every booking whose time comes near; each once. How many."""
    with ctx.db.write(actor.shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        ahead = timedelta(hours=shop.reminder_hours)
        near = bookings.bookings_between(unit, now, now + ahead + LOOK_BACK) if ahead else ()
        due = [b for b in near if not b.reminded and _is_due(ctx, unit, shop, b, ahead=ahead, now=now)]
        for booking in due:
            bookings.mark(unit, booking, reminded=True)
            _remind(ctx, unit, actor, booking)
        return len(due)


def _is_due(ctx: Context, unit: Unit, shop: Shop, booking: Booking, *, ahead: timedelta, now: datetime) -> bool:
    """In every zone that a number of theirs may be in; by the shop's clock alone when no hour suits all of those."""
    for awake in (_awake(ctx, unit, shop, booking), awake_in([shop.zone], ctx.telling_week(shop))):
        moment = remind_at(booking.start_at, ahead=ahead, changed=booking.changed_at, awake=awake)
        if moment is not None:
            return moment <= now
    return False


def _awake(ctx: Context, unit: Unit, shop: Shop, booking: Booking) -> Awake:
    told = visits.visit_people(unit, booking.visit_id).get("tell", ())
    zones = {name for person_id in told for number in _numbers(unit, person_id) for name in zones_of(number)}
    return awake_in([shop.zone, *sorted(zones)], ctx.telling_week(shop))


def _numbers(unit: Unit, person_id: str) -> tuple[str, ...]:
    """None of somebody who is just being forgotten: their key is gone before their rows are."""
    try:
        return tuple(one.address for one in people.contacts_of(unit, person_id) if one.channel == "sms")
    except NotFound:
        return ()


def _remind(ctx: Context, unit: Unit, actor: Actor, booking: Booking) -> None:
    """Of no use once the slot has begun."""
    record(ctx, unit, actor, "pickup_came_near", visit_id=booking.visit_id,
           codes={"booking": booking.id, "revision": booking.revision}, expires={"pickup_reminder": booking.start_at},
           cause=f"booking:{booking.id}:{booking.revision}:pickup_came_near")  # fmt: skip


def note_missed(ctx: Context, actor: Actor) -> int:
    """Closes bookings whose slot ended two hours ago with the device still here, with a gentle note. How many.

    After so many as the shop set (`missed_notes`) nobody is written to any more: staff are asked to call. Nor is
    anybody when the clock stood still meanwhile: somebody may have come, and it is on paper (core/long_past).
    """
    with ctx.db.write(actor.shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        begun = bookings.bookings_between(unit, now - _LOOK_BACK, now - MISSED_AFTER)
        past = [booking for booking in begun if booking.end_at <= now - MISSED_AFTER]
        for booking in past:
            _note(ctx, unit, actor, shop, booking, revision=bookings.close_booking(unit, booking, "missed", at=now))
        return len(past)


def _note(ctx: Context, unit: Unit, actor: Actor, shop: Shop, booking: Booking, *, revision: int) -> None:
    times = bookings.missed_counts(unit, [booking.visit_id])[booking.visit_id]
    phases = tickets.phases_of_visit(unit, booking.visit_id).values()
    somebody_came = Phase.HANDED_BACK in phases or Phase.ON_SHELF not in phases
    record(ctx, unit, actor, "pickup_missed", visit_id=booking.visit_id,
           codes={"booking": booking.id, "revision": revision, "times": times},
           at=booking.end_at + MISSED_AFTER, silent=somebody_came or times >= shop.missed_notes)  # fmt: skip


def remind_collection(ctx: Context, actor: Actor) -> int:
    """Plans the next collection reminder for visits long on the shelf: so many as the shop set, then none.

    Days count from when the last ready device of the visit was put there. How many.
    """
    done = 0
    with ctx.db.write(actor.shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        booked = bookings.live_bookings(unit)
        for visit_id, since in tickets.visits_on_shelf(unit).items():
            due = [days for days in shop.collection_days if since + timedelta(days=days) <= now]
            if due and visit_id not in booked:
                done += _remind_once(ctx, unit, actor, visit_id, days=max(due))
    return done


def _remind_once(ctx: Context, unit: Unit, actor: Actor, visit_id: str, *, days: int) -> int:
    """Once for each time that something was put on the shelf; never on the day of a note about a missed pickup."""
    story = events.story_of(unit, visit_id=visit_id)
    cause = f"collection:{_last_shelving(unit, visit_id, story)}:{days}"
    if idempotent.recall(unit, cause) or _just_missed(story, ctx.clock()):
        return 0
    idempotent.keep(unit, cause, {"days": days}, at=ctx.clock())
    record(ctx, unit, actor, "collection_overdue", visit_id=visit_id, codes={"days": days}, cause=cause)
    return 1


def _last_shelving(unit: Unit, visit_id: str, story: Iterable[Event]) -> str:
    """The event that put the newest of the ready devices there; the visit itself for one without (brought over)."""
    here = tickets.shelved_since(unit, visit_id)
    found = [event.id for event in story if event.kind in _SHELVED and event.ticket_id in here]
    return found[-1] if found else visit_id


def _just_missed(story: Iterable[Event], now: datetime) -> bool:
    return any(event.kind == "pickup_missed" and event.at > now - timedelta(days=1) for event in story)

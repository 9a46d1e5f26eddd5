"""What the pickups of a day show: who comes when for what, from where it is fetched, and who has no time yet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.core.hours import spans_on
from notify.core.messages import MessageState
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine, day_bounds
from notify.store import bookings, messages, people, shops, tickets, visits
from notify.store.bookings import Booking
from notify.store.database import Unit
from notify.store.messages import Message


@dataclass(frozen=True, slots=True)
class Pickup:
    """One booked pickup: `ready` lie on the shelf, `waiting` of the visit do not; `collectors` may come too."""

    booking_id: str
    visit_id: str
    start_at: datetime
    end_at: datetime
    person: str
    collectors: tuple[str, ...]
    ready: tuple[TicketLine, ...]
    waiting: tuple[TicketLine, ...]
    left: int | None


@dataclass(frozen=True, slots=True)
class Shelved:
    """One device on the shelf: how its owner was told (`told` is a state of core/messages, "" = never planned).

    `told_at` is when it left, or when it will while it waits; `channel` its way; `booked_at` the pickup,
    `missed_at` the last one to which nobody came, while there is no new one.
    """

    ticket: TicketLine
    told: str
    told_at: datetime | None
    channel: str
    why: str
    booked_at: datetime | None
    missed_at: datetime | None
    days: int


@dataclass(frozen=True, slots=True)
class Pickups:
    """One day at the counter; `today` tells whether it is the day that runs."""

    day: date
    today: date
    is_open: bool
    pickups: tuple[Pickup, ...]
    ready: tuple[Shelved, ...]


def view(ctx: Context, actor: Actor, *, day: date | None = None) -> Pickups:
    """The pickups of a day (today when None), and what is ready without a time."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop, lines = ctx.shop(unit), Lines(unit)
        today = ctx.today(shop)
        wanted = day or today
        is_open = bool(spans_on(shops.get_counter(unit, shop), wanted))
        unbooked = tuple(one for one in shelf(ctx, unit, lines) if one.booked_at is None)
        return Pickups(wanted, today, is_open, pickups_of(ctx, unit, lines, wanted), unbooked)


def shelf_now(ctx: Context, actor: Actor) -> tuple[Shelved, ...]:
    """Everything on the shelf, the longest standing first."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return shelf(ctx, unit, Lines(unit))


def visit_of(ctx: Context, actor: Actor, booking_id: str) -> tuple[str, date]:
    """The visit of a booking and its day at the shop; raises NotFound."""
    with ctx.db.read(actor.shop_id) as unit:
        booking = bookings.get_booking(unit, booking_id)
        if booking is None:
            raise NotFound("There is no such booking", "Look at the list of pickups.")
        return booking.visit_id, date.fromisoformat(booking.local_start[:10])


def pickups_of(ctx: Context, unit: Unit, lines: Lines, day: date) -> tuple[Pickup, ...]:
    """The bookings that stand on one date, in order of time."""
    first, last = day_bounds(ctx.shop(unit), day)
    booked = bookings.bookings_between(unit, first, last)
    whole = tickets.tickets_of_visits(unit, (b.visit_id for b in booked))
    return tuple(_pickup(unit, lines, booking, lines.of(whole.get(booking.visit_id, ()))) for booking in booked)


def _pickup(unit: Unit, lines: Lines, booking: Booking, whole: tuple[TicketLine, ...]) -> Pickup:
    ready = tuple(line for line in whole if line.phase is Phase.ON_SHELF)
    gone = (Phase.HANDED_BACK, Phase.LEFT_BEHIND)
    return Pickup(
        booking_id=booking.id, visit_id=booking.visit_id, start_at=booking.start_at, end_at=booking.end_at,
        person=_name(unit, booking.person_id), collectors=_collectors(unit, booking.visit_id), ready=ready,
        waiting=tuple(line for line in whole if line.phase is not Phase.ON_SHELF and line.phase not in gone),
        left=_sum(line.left for line in ready if line.outcome != "unrepaired"),
    )  # fmt: skip


def _name(unit: Unit, person_id: str) -> str:
    found = people.people_by_id(unit, [person_id]).get(person_id)
    return found.name if found else ""


def _collectors(unit: Unit, visit_id: str) -> tuple[str, ...]:
    ids = visits.visit_people(unit, visit_id).get("collector", ())
    return tuple(person.name for person in people.people_by_id(unit, ids).values() if person.name)


def _sum(amounts: Iterable[int | None]) -> int | None:
    """What is left for all of them; None as soon as one of them is not known."""
    whole = list(amounts)
    return None if not whole or any(one is None for one in whole) else sum(one or 0 for one in whole)


def shelf(ctx: Context, unit: Unit, lines: Lines) -> tuple[Shelved, ...]:
    """Everything on the shelf, the longest standing first."""
    found = lines.of(tickets.tickets_in(unit, (Phase.ON_SHELF,)))
    ids = {line.visit_id for line in found}
    told = messages.newest_of_visits(unit, "ready", ids)
    booked, missed = bookings.live_bookings(unit), bookings.missed_times(unit, ids)
    return tuple(
        _shelved(ctx, line, told.get(line.visit_id), booked.get(line.visit_id), missed.get(line.visit_id))
        for line in found
    )


def _shelved(
    ctx: Context, line: TicketLine, told: Message | None, booking: Booking | None, missed: datetime | None
) -> Shelved:
    waits = told is not None and told.state in (MessageState.WAITING, MessageState.TO_CALL)
    return Shelved(
        ticket=line, told=told.state if told else "", channel=told.channel if told else "",
        told_at=(told.due_at if waits else told.ended_at) if told else None, why=told.reason if told else "",
        booked_at=booking.start_at if booking else None,
        missed_at=missed if booking is None and missed is not None and missed > line.since else None,
        days=max(0, (ctx.clock() - line.since).days),
    )  # fmt: skip

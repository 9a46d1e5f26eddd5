"""The shelf: what lies there, how its owner was told, and when they come or did not come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from notify.core.actors import Actor
from notify.core.messages import MessageState
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine
from notify.store import bookings, messages, tickets
from notify.store.bookings import Booking
from notify.store.database import Unit
from notify.store.messages import Message


@dataclass(frozen=True, slots=True)
class Shelved:
    """One device on the shelf: how its owner was told (`told` is a state of core/messages, "" = never planned).

    `told_at` is when it left, or when it will while it waits; `channel` its way; `booked_at` the pickup,
    `missed_at` the last one to which nobody came, while there is no new one; `missed` how often nobody came, and
    `call_them`: so often that nobody is written to about it any more.
    """

    ticket: TicketLine
    told: str
    told_at: datetime | None
    channel: str
    why: str
    booked_at: datetime | None
    missed_at: datetime | None
    missed: int
    call_them: bool
    days: int


def shelf_now(ctx: Context, actor: Actor) -> tuple[Shelved, ...]:
    """Everything on the shelf, the longest standing first."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return shelf(ctx, unit, Lines(unit))


def shelf(ctx: Context, unit: Unit, lines: Lines) -> tuple[Shelved, ...]:
    """Everything on the shelf, the longest standing first."""
    return shelf_of(ctx, unit, lines.of(tickets.tickets_in(unit, (Phase.ON_SHELF,))), bookings.live_bookings(unit))


def shelf_of(
    ctx: Context, unit: Unit, found: tuple[TicketLine, ...], booked: Mapping[str, Booking]
) -> tuple[Shelved, ...]:
    """The same for lines that were read already; `booked` is visit -> its booking that stands."""
    ids = {line.visit_id for line in found}
    told = messages.newest_of_visits(unit, "ready", ids)
    missed = bookings.missed_times(unit, ids)
    times, most = bookings.missed_counts(unit, ids) if missed else {}, ctx.shop(unit).missed_notes
    seen = (
        (line, _shelved(ctx, line, told.get(line.visit_id), booked.get(line.visit_id), missed.get(line.visit_id)))
        for line in found
    )
    return tuple(_with_missed(one, times.get(line.visit_id, 0), most) for line, one in seen)


def _with_missed(one: Shelved, times: int, most: int) -> Shelved:
    return replace(one, missed=times, call_them=one.missed_at is not None and times >= most)


def _shelved(
    ctx: Context, line: TicketLine, told: Message | None, booking: Booking | None, missed: datetime | None
) -> Shelved:
    waits = told is not None and told.state in (MessageState.WAITING, MessageState.TO_CALL)
    return Shelved(
        ticket=line, told=told.state if told else "", channel=told.channel if told else "",
        told_at=(told.due_at if waits else told.ended_at) if told else None, why=told.reason if told else "",
        booked_at=booking.start_at if booking else None,
        missed_at=missed if booking is None and missed is not None and missed > line.since else None,
        missed=0, call_them=False, days=max(0, (ctx.clock() - line.since).days),
    )  # fmt: skip

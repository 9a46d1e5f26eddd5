"""The bookings that changed hours have hit: who, when, why, how to reach them, and the next time that is free."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.tickets import Phase
from notify.flows import contact_reads
from notify.flows.context import Context
from notify.flows.hits import Hit, hits_within
from notify.flows.pickup import mark_of, offers_within
from notify.flows.view_lines import Lines, TicketLine
from notify.store import bookings, people, tickets
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class HitLine:
    """One booking that needs a decision. `seen` marks it as it looks now, `why` is a code of core/hits.

    `nearest` is the slot value ("2026-11-26T17:30/0") of the first free time after its own, or else of the last one
    before: whoever reads late must not have missed it. `nearest_at` is its instant; empty and None when none is free.
    `phone` is empty for whoever may not see contacts.
    """

    booking_id: str
    visit_id: str
    seen: str
    why: str
    start_at: datetime
    end_at: datetime
    person_id: str
    person: str
    phone: str
    devices: tuple[TicketLine, ...]
    nearest: str
    nearest_at: datetime | None


def view(ctx: Context, actor: Actor) -> tuple[HitLine, ...]:
    """Every booking that is hit, in order of time."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = _lines(ctx, unit, actor, hits_within(ctx, unit))
    _note(ctx, actor, found)
    return found


def view_would_be(ctx: Context, actor: Actor, hits: Mapping[str, str]) -> tuple[HitLine, ...]:
    """The same for bookings that a change, not yet made, would hit: booking -> why. That time is left out."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = (bookings.get_booking(unit, one) for one in hits)
        meant = sorted((one for one in found if one), key=lambda one: (one.start_at, one.seat))
        lines = _lines(ctx, unit, actor, tuple(Hit(one, hits[one.id]) for one in meant), nearest=False)
    _note(ctx, actor, lines)
    return lines


def _note(ctx: Context, actor: Actor, lines: tuple[HitLine, ...]) -> None:
    contact_reads.note(ctx, actor, "hits", ((one.person_id, None) for one in lines if one.phone))


def count_hits(ctx: Context, actor: Actor) -> int:
    """How many bookings need a decision."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return len(hits_within(ctx, unit))


def _lines(
    ctx: Context, unit: Unit, actor: Actor, hits: tuple[Hit, ...], *, nearest: bool = True
) -> tuple[HitLine, ...]:
    if not hits:
        return ()
    lines, phones = Lines(unit), actor.may("see_contact")
    known = people.people_by_id(unit, {hit.booking.person_id for hit in hits})
    shown = (one.id for one in known.values() if phones and not one.forgotten)
    contacts = people.contacts_of_all(unit, shown)
    return tuple(_line(ctx, unit, lines, hit, known, contacts, nearest=nearest) for hit in hits)


def _line(
    ctx: Context, unit: Unit, lines: Lines, hit: Hit, known: Mapping[str, people.Person],
    contacts: Mapping[str, tuple[people.Contact, ...]], *, nearest: bool,
) -> HitLine:  # fmt: skip
    booking = hit.booking
    person, own = known.get(booking.person_id), contacts.get(booking.person_id, ())
    phone = people.number_to_call(own, device_with_us=tickets.is_device_with_us(unit, booking.visit_id)) if own else ""
    ready = lines.of(one for one in tickets.tickets_of_visit(unit, booking.visit_id) if one.phase is Phase.ON_SHELF)
    free = min(
        offers_within(ctx, unit, booking.visit_id) if nearest else (),
        key=lambda offer: (offer.slot.start < booking.start_at, abs(offer.slot.start - booking.start_at)), default=None,
    )  # fmt: skip
    return HitLine(
        booking_id=booking.id, visit_id=booking.visit_id, seen=mark_of(booking), why=hit.why,
        start_at=booking.start_at, end_at=booking.end_at,
        person_id=booking.person_id, person=person.name if person else "", phone=phone,
        devices=tuple(ready), nearest=f"{free.slot.local:%Y-%m-%dT%H:%M}/{free.slot.fold}" if free else "",
        nearest_at=free.slot.start if free else None,
    )  # fmt: skip

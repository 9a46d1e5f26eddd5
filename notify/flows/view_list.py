"""The lists of the shop: tickets, parts, calls, messages, bookings, staff, settings; one reading transaction each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.messages import MessageState
from notify.core.parts import is_late
from notify.core.shop import SHOP_SETTINGS
from notify.core.tickets import OPEN_PHASES, parse_phase
from notify.flows.context import Context
from notify.flows.moves import waits_on
from notify.store import bookings, outbox, parts, people, shops, staff, tickets
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class TicketLine:
    """One ticket in a list. Instants are UTC."""

    number: str
    device: str
    phase: str
    waits_on: str
    since: datetime
    promise: datetime | None
    shelf: str
    safety: tuple[str, ...]


def list_tickets(ctx: Context, actor: Actor, *, phases: Sequence[str] = (), waits: str = "") -> tuple[TicketLine, ...]:
    """Tickets in these phases (the open ones when none is named), the longest waiting first; Invalid for no phase."""
    actor.need("look")
    wanted = [parse_phase(phase) for phase in phases] or list(OPEN_PHASES)
    with ctx.db.read(actor.shop_id) as unit:
        lines = [
            TicketLine(
                number=show_number(t.number), device=t.device, phase=t.phase.value, waits_on=waits_on(unit, t).value,
                since=t.phase_since, promise=t.promise_at, shelf=t.shelf, safety=t.safety,
            )
            for t in tickets.tickets_in(unit, wanted)
        ]  # fmt: skip
    return tuple(line for line in lines if waits in ("", line.waits_on))


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part in a list."""

    label: str
    part: str
    number: str
    state: str
    supplier: str
    due: datetime | None
    late: bool


def list_parts(ctx: Context, actor: Actor, *, states: Sequence[str] = ("needed", "ordered")) -> tuple[PartLine, ...]:
    """Parts in these states, the earliest due first."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        names = {row.id: row.name for row in shops.list_suppliers(unit)}
        return tuple(
            PartLine(
                label=p.label, part=p.name, number=show_number(tickets.get_ticket(unit, p.ticket_id).number),
                state=p.state, supplier=names.get(p.supplier_id or "", ""), due=p.due_at,
                late=is_late(p.state, p.due_at, now=ctx.clock()),
            )
            for p in parts.parts_in(unit, states)
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class CallLine:
    """One call to make: the number to dial and the sentence to say; `again_at` is set after nobody answered."""

    id: str
    number: str
    notice: str
    person: str
    phone: str
    sentence: str
    due: datetime


def list_calls(ctx: Context, actor: Actor) -> tuple[CallLine, ...]:
    """Every call still to be made, the oldest first."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        waiting = outbox.list_messages(unit, states=(MessageState.TO_CALL,), limit=500)
        return tuple(_call(unit, message) for message in sorted(waiting, key=lambda m: (m.due_at, m.seq)))


def _call(unit: Unit, message: outbox.Message) -> CallLine:
    here = tickets.is_device_with_us(unit, message.visit_id)
    phones = [
        c.address for c in people.contacts_of(unit, message.person_id)
        if c.channel == "sms" and not (c.in_repaired_device and here)
    ]  # fmt: skip
    return CallLine(
        id=message.id, number=_number(unit, message), notice=message.notice,
        person=people.get_person(unit, message.person_id).name, phone=phones[0] if phones else "",
        sentence=outbox.get_sentence(unit, message), due=message.due_at,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class MessageLine:
    """One message: what it says to whom stands in `show_message`."""

    id: str
    number: str
    notice: str
    audience: str
    channel: str
    state: str
    reason: str
    due: datetime
    ended: datetime | None
    attempts: int


def list_messages(
    ctx: Context, actor: Actor, *, states: Sequence[str] = (), limit: int = 50
) -> tuple[MessageLine, ...]:
    """The newest messages, the skipped and dropped ones too, with their reasons."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return tuple(_line(unit, message) for message in outbox.list_messages(unit, states=states, limit=limit))


def show_message(ctx: Context, actor: Actor, message_id: str) -> dict[str, Any]:
    """One message with its sentence and what the channel said at each try."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        message = outbox.get_message(unit, message_id)
        assert message is not None  # found a moment ago; messages are never deleted
        tries = [
            {"at": row.at, "verdict": row.verdict, "code": row.code, "text": row.text}
            for row in outbox.receipts_of(unit, message_id)
        ]
        return {"message": _line(unit, message), "sentence": outbox.get_sentence(unit, message), "tries": tries}


def _line(unit: Unit, m: outbox.Message) -> MessageLine:
    return MessageLine(
        id=m.id, number=_number(unit, m), notice=m.notice, audience="customer" if m.person_id else "shop",
        channel=m.channel, state=m.state, reason=m.reason, due=m.due_at, ended=m.ended_at, attempts=m.attempts,
    )  # fmt: skip


def _number(unit: Unit, message: outbox.Message) -> str:
    kind, _, thing = message.about.partition(":")
    ticket = tickets.get_ticket(unit, thing) if kind == "ticket" else tickets.tickets_of_visit(unit, thing)[0]
    return show_number(ticket.number)


@dataclass(frozen=True, slots=True)
class BookingLine:
    """One booked pickup; `local` is the shop's wall time."""

    local: str
    numbers: tuple[str, ...]
    devices: tuple[str, ...]
    state: str


def list_bookings(ctx: Context, actor: Actor, *, day: date | None = None) -> tuple[BookingLine, ...]:
    """The pickups booked for a day of the shop's calendar (today when None), in order of time."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        start = datetime.combine(day or ctx.today(shop), time(0), ZoneInfo(shop.zone))
        found = bookings.bookings_between(unit, start, start + timedelta(days=1))
        return tuple(_booking(unit, booking) for booking in found)


def _booking(unit: Unit, booking: bookings.Booking) -> BookingLine:
    whole = tickets.tickets_of_visit(unit, booking.visit_id)
    ready = [t for t in whole if t.phase.value == "on_shelf"]
    return BookingLine(
        booking.local_start, tuple(show_number(t.number) for t in ready), tuple(t.device for t in ready), booking.state
    )


@dataclass(frozen=True, slots=True)
class StaffLine:
    """Somebody who works or worked here."""

    name: str
    role: str
    active: bool
    has_pin: bool


def list_staff(ctx: Context, actor: Actor) -> tuple[StaffLine, ...]:
    """Everybody, by name."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return tuple(StaffLine(r.name, r.role, r.active, bool(r.pin_hash)) for r in staff.list_staff(unit))


def show_shop(ctx: Context, actor: Actor) -> dict[str, Any]:
    """What the shop set for itself: settings, opening hours, special days, suppliers; with their identifiers."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        return {
            "settings": {key: getattr(shop, key) for key in SHOP_SETTINGS},
            "hours": [{"id": i, **_hours(row)} for i, row in shops.list_hours(unit)],
            "days": [
                {"id": i, "day": d.day, "opens": d.opens, "closes": d.closes, "reason": why}
                for i, d, why in shops.special_days(unit)
            ],
            "suppliers": [
                {"name": r.name, "cutoff": r.cutoff, "delivers_at": r.delivers_at, "days": r.days}
                for r in shops.list_suppliers(unit)
            ],
        }


def _hours(row: Any) -> dict[str, Any]:
    names = ("weekday", "opens", "closes", "capacity", "valid_from", "valid_until")
    return {name: getattr(row, name) for name in names}

"""What the pickups of a day show: the slots with their free places, who comes when for what, who is late, who came."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.core.hours import Counter, spans_on
from notify.core.shop import Shop
from notify.core.slots import slots_on
from notify.core.tickets import Phase
from notify.flows import contact_reads
from notify.flows.context import Context
from notify.flows.view_calendar import Question, open_questions
from notify.flows.view_lines import Lines, TicketLine, day_bounds
from notify.flows.view_shelf import Shelved, shelf_of
from notify.store import bookings, calendar_answers, pickup_day, shops, tickets
from notify.store.bookings import Booking, Occupied
from notify.store.database import Unit

T = TypeVar("T")
LATE_AFTER = timedelta(minutes=10)  # our choice: most people come within that time (forecast: a spread of 5 minutes)


@dataclass(frozen=True, slots=True)
class Pickup:
    """One pickup of the day: `ready` lie on the shelf, `waiting` of the visit do not; `collectors` may come too.

    `state` is booked, kept, missed or cancelled, and `ended_at` when it became so. `late` is whole minutes since the
    start for whoever was to be here ten minutes ago and is not; only then, and only for who may see contacts, `phone`
    (E.164) is there to call. `partstat` is what their calendar said (core/itip.Partstat, "" for nothing), `proved`
    whether that was proved. `questions` are what calendars asked that waits for staff, for who may see contacts.
    """

    booking_id: str
    visit_id: str
    start_at: datetime
    end_at: datetime
    person: str
    collectors: tuple[str, ...]
    ready: tuple[TicketLine, ...]
    waiting: tuple[TicketLine, ...]
    taken: tuple[TicketLine, ...]
    left: int | None
    state: str
    ended_at: datetime | None
    late: int | None
    phone: str
    invited: bool
    partstat: str
    proved: bool
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class SlotPlaces:
    """One slot of the day with the places that are left in it."""

    start_at: datetime
    end_at: datetime
    capacity: int
    free: int


@dataclass(frozen=True, slots=True)
class Pickups:
    """One day at the counter at `now`; `today` tells whether it is the day that runs.

    `pickups` stand, `over` are those that were kept, missed or given up, each in order of time; a visit that has
    another time by now is not among what was given up. `slots` are the day's own, full ones and past ones as well.
    """

    day: date
    today: date
    now: datetime
    is_open: bool
    slots: tuple[SlotPlaces, ...]
    pickups: tuple[Pickup, ...]
    over: tuple[Pickup, ...]
    ready: tuple[Shelved, ...]


def view(ctx: Context, actor: Actor, *, day: date | None = None) -> Pickups:
    """The pickups of a day (today when None), and what is ready without a time."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop, lines = ctx.shop(unit), Lines(unit)
        dials = actor.kind == "staff" and actor.may("see_contact")  # a script is told nobody's number here
        counter, today = shops.get_counter(unit, shop), ctx.today(shop)
        wanted, live = day or today, bookings.live_bookings(unit)
        shown = _shown(unit, shop, wanted, live)
        known, shelved = _known(ctx, unit, lines, shown, contacts=dials, shelf=True)
        whole = tuple(_pickup(ctx.clock(), one, known) for one in shown)
        dialled = tuple((person, None) for person, phone in known.phones.items() if phone)
        standing = tuple(one for one in whole if one.state == "booked")
        found = Pickups(
            day=wanted, today=today, now=ctx.clock(), is_open=bool(spans_on(counter, wanted)),
            slots=_slots(counter, wanted, standing), pickups=standing,
            over=tuple(one for one in whole if one.state != "booked"),
            ready=tuple(one for one in shelf_of(ctx, unit, shelved, live) if one.booked_at is None),
        )  # fmt: skip
    contact_reads.note(ctx, actor, "pickups", dialled)
    return found


def _slots(counter: Counter, day: date, standing: tuple[Pickup, ...]) -> tuple[SlotPlaces, ...]:
    """A booking takes a place in every slot it overlaps, as where slots are offered."""
    taken = Occupied((one.start_at, one.end_at) for one in standing)
    return tuple(
        SlotPlaces(slot.start, slot.end, slot.capacity, max(0, slot.capacity - taken.during(slot)))
        for slot in slots_on(counter, day)
    )


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
    found = bookings.bookings_between(unit, first, last)
    known, _ = _known(ctx, unit, lines, found, contacts=False, shelf=False)
    return tuple(_pickup(ctx.clock(), one, known) for one in found)


@dataclass(frozen=True, slots=True)
class _Known:
    """What was read at once for all pickups of a day."""

    lines: Mapping[str, tuple[TicketLine, ...]]
    names: Mapping[str, str]
    collectors: Mapping[str, tuple[str, ...]]
    phones: Mapping[str, str]
    proved: Mapping[str, bool]
    questions: Mapping[str, tuple[Question, ...]]


def _shown(unit: Unit, shop: Shop, day: date, live: Mapping[str, Booking]) -> tuple[Booking, ...]:
    """The bookings of a date without those that were given up, or missed, and have another time by now."""
    found = pickup_day.bookings_of_day(unit, *day_bounds(shop, day))
    return tuple(one for one in found if one.state in ("booked", "kept") or one.visit_id not in live)


def _known(
    ctx: Context, unit: Unit, lines: Lines, shown: tuple[Booking, ...], *, contacts: bool, shelf: bool
) -> tuple[_Known, tuple[TicketLine, ...]]:
    """What the pickups need, and beside it the lines of everything on the shelf: both are read together."""
    visits = {one.visit_id for one in shown}
    theirs = [ticket for of_it in tickets.tickets_of_visits(unit, visits).values() for ticket in of_it]
    shelved = tickets.tickets_in(unit, (Phase.ON_SHELF,)) if shelf else ()
    made = {line.ticket_id: line for line in lines.of({t.id: t for t in (*theirs, *shelved)}.values())}
    company = pickup_day.company(unit, visits)
    asked = open_questions(ctx, unit) if contacts else ()
    answered = {one.id for one in shown if one.partstat}
    late = {one.person_id for one in shown if _late(one, ctx.clock()) is not None}
    known = _Known(
        lines=_by((made[ticket.id] for ticket in theirs), "visit_id"), names=company.names,
        collectors=company.collectors,
        phones=pickup_day.phones(unit, late) if contacts and late else {},
        proved=calendar_answers.proved_among(unit, answered) if answered else {},
        questions=_by((one for one in asked if one.is_live), "visit_id"),
    )  # fmt: skip
    return known, tuple(made[ticket.id] for ticket in shelved)


def _by(rows: Iterable[T], name: str) -> dict[str, tuple[T, ...]]:
    groups: dict[str, tuple[T, ...]] = {}
    for row in rows:
        groups[getattr(row, name)] = (*groups.get(getattr(row, name), ()), row)
    return groups


_GONE = (Phase.HANDED_BACK, Phase.LEFT_BEHIND)


def _pickup(now: datetime, booking: Booking, known: _Known) -> Pickup:
    whole = known.lines.get(booking.visit_id, ())
    ready = tuple(line for line in whole if line.phase is Phase.ON_SHELF)
    also = (known.names.get(one, "") for one in known.collectors.get(booking.visit_id, ()))
    is_over = booking.state != "booked"
    return Pickup(
        booking_id=booking.id, visit_id=booking.visit_id, start_at=booking.start_at, end_at=booking.end_at,
        person=known.names.get(booking.person_id, ""), collectors=tuple(name for name in also if name), ready=ready,
        waiting=tuple(line for line in whole if line.phase is not Phase.ON_SHELF and line.phase not in _GONE),
        taken=tuple(line for line in whole if line.phase is Phase.HANDED_BACK),
        left=_sum(line.left for line in ready if line.outcome != "unrepaired"),
        state=booking.state, ended_at=booking.changed_at if is_over else None,
        late=_late(booking, now),
        phone=known.phones.get(booking.person_id, "") if _late(booking, now) is not None else "",
        invited=booking.invite_stamp is not None, partstat=booking.partstat,
        proved=known.proved.get(booking.id, False),
        questions=() if is_over else known.questions.get(booking.visit_id, ()),
    )  # fmt: skip


def _late(booking: Booking, now: datetime) -> int | None:
    """Whole minutes since the start, once whoever was to come counts as late; else None."""
    passed = now - booking.start_at
    return int(passed / timedelta(minutes=1)) if booking.state == "booked" and passed >= LATE_AFTER else None


def _sum(amounts: Iterable[int | None]) -> int | None:
    """What is left for all of them; None as soon as one of them is not known."""
    whole = list(amounts)
    return None if not whole or any(one is None for one in whole) else sum(one or 0 for one in whole)

"""What calendars answered and staff have to decide: whose pickup, what was said, and what can be done about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.calendar_choices import Choice, asks, choices
from notify.core.claim_number import show_number
from notify.core.errors import NotFound
from notify.flows.context import Context
from notify.flows.pickup import Offer
from notify.flows.proposals import Fit, fit_in
from notify.store import bookings, calendar_answers, people, replies, tickets
from notify.store.bookings import Booking
from notify.store.calendar_answers import CalendarAnswer
from notify.store.database import Unit

_NO_FIT = Fit(None)


@dataclass(frozen=True, slots=True)
class Question:
    """One open answer. `asked` is a code of core/calendar_choices.ASKED; `words` is what came with it, "" for nothing.

    `start_at` is the pickup's time and `is_live` whether it stands; `wants_at` the time asked for, None where there is
    none. `fits` is the free slot that holds it, else `near` are the nearest free ones; `is_own`: it lies within the
    pickup as it is. `can` is what staff may decide, the usual one first.
    """

    id: str
    at: datetime
    asked: str
    person: str
    number: str
    visit_id: str
    ticket_id: str
    start_at: datetime
    is_live: bool
    wants_at: datetime | None
    fits: Offer | None
    near: tuple[Offer, ...]
    is_own: bool
    words: str
    can: tuple[Choice, ...]


def view(ctx: Context, actor: Actor) -> tuple[Question, ...]:
    """Everything that waits for a decision, the oldest first."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        return open_questions(ctx, unit)


def open_questions(ctx: Context, unit: Unit) -> tuple[Question, ...]:
    """The same, inside the caller's transaction."""
    found = calendar_answers.open_answers(unit)
    if not found:
        return ()
    whose = bookings.bookings_by_id(unit, {one.booking_id for one in found})
    about = tickets.tickets_of_visits(unit, {one.visit_id for one in found})
    names = people.people_by_id(unit, {one.person_id for one in whose.values()})
    return tuple(
        _question(ctx, unit, one, whose[one.booking_id], about.get(one.visit_id, ()), names)
        for one in found
        if one.booking_id in whose
    )


def _question(
    ctx: Context, unit: Unit, answer: CalendarAnswer, booking: Booking, visit: Iterable[tickets.Ticket],
    names: Mapping[str, people.Person],
) -> Question:  # fmt: skip
    asked, is_live = asks(answer.decision, answer.method, answer.partstat), booking.state == "booked"
    fit = fit_in(ctx, unit, booking, answer.wants_start) if is_live and answer.method == "COUNTER" else _NO_FIT
    first, person = next(iter(visit), None), names.get(booking.person_id)
    can = (Choice.SEEN,) if fit.is_own else choices(asked, is_live=is_live)
    return Question(
        id=answer.id, at=answer.at, asked=asked, person=person.name if person else "",
        number=show_number(first.number) if first else "", visit_id=booking.visit_id,
        ticket_id=first.id if first else "", start_at=booking.start_at, is_live=is_live, wants_at=answer.wants_start,
        fits=fit.slot, near=fit.near, is_own=fit.is_own, words=_words(unit, answer), can=can,
    )  # fmt: skip


def _words(unit: Unit, answer: CalendarAnswer) -> str:
    try:
        return replies.get_reply(unit, answer.reply_id).text if answer.reply_id else ""
    except NotFound:  # a stranger's letter, erased since
        return ""

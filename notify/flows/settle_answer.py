"""What staff decide about a calendar answer that the program must not act on by itself: one tap each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.calendar_choices import MOVED_ON, SUPERSEDED, Choice, asks, choices
from notify.core.errors import Conflict, NotFound
from notify.core.slots import Slot, Taken, check_bookable, slot_at
from notify.flows.by_beginning import the_one
from notify.flows.context import Context
from notify.flows.hear_calendar import DECLINED
from notify.flows.pickup import give_up, something_ready, take, tell
from notify.flows.proposals import fit_in
from notify.flows.record import record
from notify.store import bookings, calendar_answers, shops
from notify.store.bookings import Booking
from notify.store.calendar_answers import NOTED, OPEN, CalendarAnswer
from notify.store.database import Unit

_ENDED = {
    SUPERSEDED: "Their calendar has said something newer",
    MOVED_ON: "The pickup was changed after their calendar had answered",
}


@dataclass(frozen=True, slots=True)
class At:
    """The pickup time that staff chose for a proposal: shop-local and naive, with its fold."""

    local: datetime
    fold: int = 0


def settle(ctx: Context, actor: Actor, answer_id: str, choice: Choice, *, at: At | None = None) -> None:
    """Decides about an open answer. The same decision again changes nothing more.

    TAKE moves the pickup to the slot that holds the time asked for, or to `at`. Raises NotFound; Taken when there is
    no such place; Conflict when somebody decided otherwise, or something newer came, or the choice does not fit.
    """
    actor.need("book")
    with ctx.db.write(actor.shop_id) as unit:
        answer = calendar_answers.get_answer(unit, answer_id)
        if answer.state != OPEN:
            return _again(answer, choice)
        booking = _booking(unit, answer)
        _check_fits(answer, booking, choice)
        # First of all: a pickup that changes ends what is still open about it.
        calendar_answers.settle_answer(unit, answer.id, how=choice, staff_id=actor.id, at=ctx.clock())
        _DO[choice](ctx, unit, actor, _Case(answer, booking, at))
        record(ctx, unit, actor, "calendar_settled", visit_id=booking.visit_id,
               codes={"booking": booking.id, "answer": answer.id, "how": choice})  # fmt: skip


def find_answer(ctx: Context, actor: Actor, beginning: str) -> str:
    """An answer by the beginning of its identifier; raises NotFound or Conflict."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = calendar_answers.answer_ids_beginning(unit, beginning) if beginning else ()
    return the_one(found, beginning, thing="calendar answer", see="shelfbell pickup answers", field="answer")


@dataclass(frozen=True, slots=True)
class _Case:
    answer: CalendarAnswer
    booking: Booking
    at: At | None


def _again(answer: CalendarAnswer, choice: Choice) -> None:
    if answer.settled_how == choice:
        return
    if answer.state == NOTED:
        raise Conflict("Nothing has to be decided about this calendar answer", "Look at the list of pickups.")
    what = _ENDED.get(answer.settled_how, "Somebody has decided about it already")
    raise Conflict(what, "Look at the pickup as it is now.")


def _booking(unit: Unit, answer: CalendarAnswer) -> Booking:
    booking = bookings.get_booking(unit, answer.booking_id)
    if booking is None:
        raise NotFound("There is no such booking", "Look at the list of pickups.")
    return booking


def _check_fits(answer: CalendarAnswer, booking: Booking, choice: Choice) -> None:
    can = choices(asks(answer.decision, answer.method, answer.partstat), is_live=booking.state == "booked")
    if choice not in (*can, Choice.SEEN):
        raise Conflict(f"Their calendar's answer cannot be settled with {str(choice)!r}",
                       f"Choose {' or '.join(can)}.", field="choice")  # fmt: skip


def _free(ctx: Context, unit: Unit, actor: Actor, case: _Case) -> None:
    give_up(ctx, unit, actor, case.booking, why=DECLINED, how="calendar")


def _take(ctx: Context, unit: Unit, actor: Actor, case: _Case) -> None:
    if not something_ready(unit, case.booking.visit_id):
        raise Conflict("Nothing is ready to collect any more", "Choose no, or note that you have seen it.")
    take(ctx, unit, actor, case.booking.visit_id, _slot(ctx, unit, case), why="you_asked")


def _slot(ctx: Context, unit: Unit, case: _Case) -> Slot:
    if case.at is None:
        fit = fit_in(ctx, unit, case.booking, case.answer.wants_start)
        if fit.slot is None:
            raise Taken("There is no free pickup time at the time they ask for", "Offer one of the nearest ones.",
                        field="slot")  # fmt: skip
        return fit.slot.slot
    counter = shops.get_counter(unit, ctx.shop(unit))
    slot = slot_at(counter, case.at.local, case.at.fold)
    check_bookable(counter, slot, now=ctx.clock())
    return slot


def _say_no(ctx: Context, unit: Unit, actor: Actor, case: _Case) -> None:
    """Only to whoever asked (RFC 5546 3.2.8); the pickup, and so its SEQUENCE, stays (2.1.4)."""
    tell(ctx, unit, actor, "proposal_refused", case.booking.id, only=case.booking.person_id, again=case.answer.seq)


def _nothing(ctx: Context, unit: Unit, actor: Actor, case: _Case) -> None:
    """The place stays as it is, and nobody is told."""


_DO: Mapping[Choice, Callable[[Context, Unit, Actor, _Case], None]] = {
    Choice.FREE: _free, Choice.KEEP: _nothing, Choice.TAKE: _take, Choice.NO: _say_no, Choice.SEEN: _nothing,
}  # fmt: skip

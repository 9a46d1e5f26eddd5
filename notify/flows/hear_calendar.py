"""Act on what a customer's calendar answered to an invite: note a yes, free the place after a proved no, ask staff."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from notify.core.actors import Actor
from notify.core.calendar_choices import OPENS, SETTLES, SUPERSEDED, asks, closes
from notify.core.itip import Answer, Bearer, Decision, Partstat, Standing, Unread, Verdict, counted_stamp, judge
from notify.core.notices import NOTICES
from notify.core.planner import best_reach
from notify.core.reply_limits import INVITES_WINDOW, RING_WINDOW, may_ask, may_ring, may_send_invite_again
from notify.flows.context import Context
from notify.flows.pickup import give_up, tell
from notify.flows.record import record
from notify.store import bookings, calendar_answers, people
from notify.store.bookings import Booking
from notify.store.calendar_answers import NOTED, OPEN, Said
from notify.store.database import Unit
from notify.store.facts import gather

MOST_IN_A_LETTER = 5  # calendar objects; our invites hold one, and what answers several is no answer to them
SENT_AGAIN = "sent"  # how a wish for the invite ended
DECLINED = "calendar_declined"  # why a pickup was given up, as a code of the words files


@dataclass(frozen=True, slots=True, repr=False)
class Carried:
    """How calendar answers came: the letter's bearer, and the reply that it is kept as."""

    bearer: Bearer
    reply_id: str
    now: datetime


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a letter's answers: `settled` when nobody has to read the letter for them, `is_open` when staff
    have to decide, where its words are quoted, `asks` what is newly asked (core/calendar_choices.ASKED)."""

    settled: bool = False
    is_open: bool = False
    asks: str = ""


def spoken_booking(unit: Unit, found: Sequence[Answer | Unread], tokens: Sequence[str]) -> Booking | None:
    """The booking that a letter with these answers speaks of; None without one, or when its person was forgotten.

    Both names are chance of 122 bits and more that only the invite tells: whoever knows one has read it.
    """
    if not found:
        return None
    uids = [one.uid for one in found if isinstance(one, Answer)]
    booking = bookings.find_spoken(unit, tokens=tokens, uids=uids)
    return None if booking is None or people.is_forgotten(unit, booking.person_id) else booking


def hear_calendar(
    ctx: Context, unit: Unit, booking: Booking, found: Sequence[Answer | Unread], carried: Carried
) -> Outcome:
    """Takes every answer of one letter, in the caller's transaction.

    A letter that a program made by itself (Auto-Submitted) is taken like any other: calendars mark their answers
    so or not as they please, RFC 3834 forbids answering it, which we do not, and how far it is believed is decided by
    the ladder in core/itip.
    """
    settled, is_open, asked = True, False, ""
    for answer in list(dict.fromkeys(found))[:MOST_IN_A_LETTER]:
        stands = bookings.get_booking(unit, booking.id) or booking  # the answer before it may have changed it
        verdict = _judged(ctx, unit, stands, answer, carried.bearer)
        opened, asks_now = _take(ctx, unit, stands, answer, verdict, carried)
        asked = asks_now or asked
        settled = settled and (opened or verdict.decision in SETTLES)
        is_open = is_open or opened
    return Outcome(settled, is_open, asked)


def _judged(ctx: Context, unit: Unit, booking: Booking, answer: Answer | Unread, bearer: Bearer) -> Verdict:
    if isinstance(answer, Unread):
        return Verdict(answer.decision, answer.why)
    believed = bearer if _reads_still(unit, booking) else replace(bearer, proved=False)
    return judge(_standing(ctx, unit, booking), answer, believed)


def _reads_still(unit: Unit, booking: Booking) -> bool:
    """Whether the invite went to an address that is still theirs: a corrected one may have been a stranger's."""
    invited = booking.invite_contact_id
    return not invited or any(one.id == invited for one in people.contacts_of(unit, booking.person_id))


def _standing(ctx: Context, unit: Unit, booking: Booking) -> Standing:
    """A word about an earlier time says nothing about this one: RFC 5546 2.1.5."""
    of_this = booking.reply_sequence == booking.revision
    return Standing(
        uid=booking.uid, organizer=ctx.organizer_address(booking.organizer_token), attendee=_attendee(unit, booking),
        sequence=booking.revision, is_live=booking.state == "booked",
        partstat=Partstat(booking.partstat) if of_this and booking.partstat else Partstat.NEEDS_ACTION,
        reply_sequence=booking.reply_sequence, reply_stamp=booking.reply_stamp,
    )  # fmt: skip


def _attendee(unit: Unit, booking: Booking) -> str:
    """Who got the invite; whoever is written to by e-mail today when that is not known; "" for nobody."""
    invited = people.get_contact(unit, booking.invite_contact_id) if booking.invite_contact_id else None
    known = [invited] if invited else list(people.contacts_of(unit, booking.person_id))
    return next((one.address.lower() for one in known if one.channel == "email"), "")


def _take(
    ctx: Context, unit: Unit, booking: Booking, answer: Answer | Unread, verdict: Verdict, carried: Carried
) -> tuple[bool, str]:
    """Keeps one answer and does what it may do: whether it waits for staff, and what the shop's bell says about it.

    The bell says nothing of what only takes the place of an open question, nor of more than a few in an hour.
    """
    said, decision = _said(answer, verdict, carried.bearer), verdict.decision
    ended = calendar_answers.end_questions(
        unit, booking.id, among=closes(decision), sequence=said.sequence, stamp=said.stamp, how=SUPERSEDED,
        at=carried.now,
    )  # fmt: skip
    how = ""
    if isinstance(answer, Answer) and decision is Decision.RESEND_CURRENT_REQUEST:
        how = _send_again(ctx, unit, booking, now=carried.now)
    opened = decision in OPENS and may_ask(calendar_answers.count_waiting(unit, booking.id, decision))
    lately = calendar_answers.count_asked(unit, booking.id, since=carried.now - RING_WINDOW)
    state = OPEN if opened else NOTED
    calendar_answers.add_answer(unit, booking_id=booking.id, visit_id=booking.visit_id, reply_id=carried.reply_id,
                                said=said, state=state, how=how, at=carried.now)  # fmt: skip
    if isinstance(answer, Answer) and decision in (Decision.APPLY, Decision.APPLY_UNVERIFIED):
        _apply(ctx, unit, booking, answer, verdict)
    rings = opened and not ended and may_ring(lately)
    return opened, asks(decision, said.method, said.partstat) if rings else ""


def _said(answer: Answer | Unread, verdict: Verdict, bearer: Bearer) -> Said:
    """A time after the letter's own is the letter's, so that a question from the year 9999 ends like any other."""
    if isinstance(answer, Unread):
        return Said("", "", 0, None, verdict.decision)
    counter, stamp = answer.method == "COUNTER", verdict.stamp or counted_stamp(answer, bearer)
    return Said(
        answer.method, answer.partstat, answer.sequence, stamp, verdict.decision,
        wants_start=answer.start if counter else None, wants_end=answer.end if counter else None,
    )  # fmt: skip


def _apply(ctx: Context, unit: Unit, booking: Booking, answer: Answer, verdict: Verdict) -> None:
    """Notes what they say; a proved no frees the place. Nothing here moves a pickup or gives a device to anybody."""
    bookings.note_answer(
        unit, booking, partstat=answer.partstat, sequence=answer.sequence, stamp=verdict.stamp or answer.stamp
    )
    actor = Actor(unit.shop_id, "customer", booking.person_id)
    codes = {"booking": booking.id, "said": answer.partstat, "trust": verdict.why}
    record(ctx, unit, actor, "calendar_answered", visit_id=booking.visit_id, codes=codes)
    if verdict.decision is Decision.APPLY and answer.partstat is Partstat.DECLINED:
        give_up(ctx, unit, actor, booking, why=DECLINED, how="calendar")


def _send_again(ctx: Context, unit: Unit, booking: Booking, *, now: datetime) -> str:
    """The invite as it stands, once more to the stored address, at most a few times a day; how it ended."""
    sent = calendar_answers.count_settled_so(unit, booking.id, how=SENT_AGAIN, since=now - INVITES_WINDOW)
    if not may_send_invite_again(sent):
        return "enough"
    if not _gets_mail(ctx, unit, booking):
        return "no_mail"
    ever = calendar_answers.count_settled_so(unit, booking.id, how=SENT_AGAIN, since=booking.made_at)
    tell(ctx, unit, Actor(unit.shop_id, "customer", booking.person_id), "invite_asked_again", booking.id,
         only=booking.person_id, again=ever + 1)  # fmt: skip
    return SENT_AGAIN


def _gets_mail(ctx: Context, unit: Unit, booking: Booking) -> bool:
    """Whether the invite would leave as a letter: in a text message there is none."""
    facts = gather(unit, booking.visit_id, channels_on=ctx.channels_on, bell=ctx.bell)
    told = next((one for one in facts.tell if one.person_id == booking.person_id), None)
    reach = best_reach(NOTICES["pickup_confirmed"], told, facts) if told else None
    return reach is not None and reach.channel == "email"

"""The claim page as data: one sentence that answers, one action, the story, who may collect, what is kept.

What one link shows: the whole visit's state and its one pickup, because a visit is collected together; but the
questions and answers of its own ticket only, because each claim ticket may be passed on alone, and whoever holds
one decides about that device and no other. A finder sees no name, no device text and no whole address.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from notify.core import questions as rules
from notify.core.claim_number import show_number
from notify.core.errors import NotFound
from notify.core.money import show_amount
from notify.core.parts import MISSING, count_missing, is_late
from notify.core.shop import Shop
from notify.core.tickets import OPEN_PHASES, Phase, waiting_on
from notify.flows.claim_shown import Answered, Asked, ClaimView, Device, Pickup, Speech
from notify.flows.claims import Forgotten, open_claim
from notify.flows.contact_codes import where_to
from notify.flows.context import Context
from notify.flows.moves import UNDO_WITHIN
from notify.flows.pickup import has_offer
from notify.flows.questions import may_take_back
from notify.flows.view_hours import door_within
from notify.flows.view_passes import say_passes
from notify.flows.view_reach import say_collectors, say_contacts, say_known
from notify.render import claim_says
from notify.render.claim_says import Standing
from notify.render.claim_story import Known, tell
from notify.render.moments import Moments
from notify.store import bookings, events, parts, people, promises, questions, tickets
from notify.store.bookings import Booking
from notify.store.claims import Claim
from notify.store.database import Unit
from notify.store.questions import Question
from notify.store.tickets import Ticket


def view_claim(
    ctx: Context, token: str, speech: Speech, *, found: Claim | None = None, unlocked: bool = False
) -> ClaimView:
    """The page behind a claim secret; changes nothing. Raises NotFound, and Forgotten for a link that is over.

    `found` is what find_claim gave for the same secret in the same request. `unlocked`: a code to the stored contact
    was typed here lately, so prices above the shop's limit are shown.
    """
    claim = open_claim(ctx, token, found=found)
    try:
        with ctx.db.read(claim.shop_id) as unit:
            return _Reading(ctx, unit, claim, speech, unlocked=unlocked).view()
    except NotFound as gone:
        # The keys are destroyed before the rows are emptied; in between nothing can be read any more.
        raise Forgotten(claim.language) from gone


class _Reading:
    """One look at a visit, inside one transaction."""

    def __init__(self, ctx: Context, unit: Unit, claim: Claim, speech: Speech, *, unlocked: bool) -> None:
        self.unlocked = unlocked
        self.ctx, self.unit, self.claim = ctx, unit, claim
        self.shop: Shop = ctx.shop(unit)
        self.whole = tickets.tickets_of_visit(unit, claim.visit_id)
        self.own: Ticket = next(t for t in self.whole if t.id == claim.ticket_id)
        self.language = people.get_person(unit, self.own.person_id).language
        self.words, self.said = speech.pages(self.language), speech.messages(self.language)
        self.moments = Moments(self.words, self.shop.zone, ctx.clock())
        self.asked = {t.id: questions.questions_of(unit, t.id) for t in self.whole}
        self.passes = say_passes(ctx, unit, claim.visit_id, self.words, self.moments)
        self.story = events.story_of(unit, visit_id=claim.visit_id, ticket_id=claim.ticket_id)

    def view(self) -> ClaimView:
        standings = {t.id: self._standing(t) for t in self.whole}
        others = [standing for id_, standing in standings.items() if id_ != self.own.id]
        answer = claim_says.answer(standings[self.own.id], others, self.words, self.moments)
        ready = [t for t in self.whole if t.phase is Phase.ON_SHELF]
        return ClaimView(
            shop_id=self.claim.shop_id, visit_id=self.claim.visit_id, ticket_id=self.own.id, language=self.language,
            number=show_number(self.own.number), mark=answer.mark, sentence=answer.sentence,
            expect=answer.expect or self._to_pay(ready), cautions=self._cautions(),
            devices=self._devices(standings), questions=self._questions(), answered=self._answered(),
            pickup=self._pickup(ready), show_code=bool(ready),
            story=tell(self.story, self._known_for_story(), self.words, self.moments),
            collectors=say_collectors(self.unit, self.claim.visit_id, self.words), passes=self.passes,
            contacts=say_contacts(self.ctx, self.unit, self.claim.visit_id, self.words),
            known=say_known(self.ctx, self.unit, self.own, self.words, self.moments),
            door=door_within(self.ctx, self.unit, self.words), ends=self._ends(),
        )  # fmt: skip

    def _ends(self) -> datetime | None:
        now = self.moments.now
        over = [q.expires_at for asked in self.asked.values() for q in asked if _is_open(q, now)]
        return min([*over, *([self.passes.ends] if self.passes.ends else [])], default=None)

    def _standing(self, ticket: Ticket) -> Standing:
        now = self.moments.now
        live = sum(1 for q in self.asked[ticket.id] if _is_open(q, now))
        of_it = parts.parts_of(self.unit, ticket.id)
        waits = waiting_on(ticket.phase, open_questions=live, missing_parts=count_missing(p.state for p in of_it))
        return Standing(
            ticket.device_class, ticket.phase, ticket.outcome, ticket.reason, waits, ticket.phase_since,
            promise_at=ticket.promise_at, promise_moved_later=self._moved_later(ticket),
            part_late=any(is_late(p.state, p.due_at, now=now) for p in of_it),
            part_unknown=any(p.state in MISSING and p.due_at is None for p in of_it),
            promise_doubted=self._doubted(ticket),
        )  # fmt: skip

    def _doubted(self, ticket: Ticket) -> bool:
        """Whether the shop was warned of the promise that stands; a new promise has a clean slate."""
        made = promises.of_ticket(self.unit, ticket.id) if ticket.promise_at and ticket.phase in OPEN_PHASES else ()
        return bool(made) and made[-1].promise_at == ticket.promise_at and made[-1].warned_at is not None

    def _moved_later(self, ticket: Ticket) -> bool:
        for event in reversed(self.story if ticket.id == self.own.id else ()):
            if event.kind == "promise_changed" and "old" in event.codes and "new" in event.codes:
                old, new = (datetime.fromisoformat(str(event.codes[key])) for key in ("old", "new"))
                return new > old
        return False

    def _to_pay(self, ready: Sequence[Ticket]) -> str:
        """What is left to pay for all that can be collected; nothing when one price is not known."""
        repaired = [t for t in ready if t.outcome != "unrepaired"]  # the price was for the repair
        if any(t.price_agreed is None for t in repaired):
            return ""
        left = sum(0 if t.paid else max(0, (t.price_agreed or 0) - (t.deposit or 0)) for t in repaired)
        price = self._price(left) if left else ""
        return self.words("says.to_pay", price=price) if price else ""

    def _price(self, minor: int) -> str:
        """The amount, or "" when it is above what the shop shows to whoever holds the link."""
        if not self.unlocked and 0 < self.shop.code_above < minor:
            return ""
        return show_amount(minor, currency=self.shop.currency, language=self.language)

    def _cautions(self) -> tuple[str, ...]:
        flags = sorted({flag for t in self.whole for flag in t.safety})
        return (self.said["caution.always"], *(self.said[f"caution.{flag}"] for flag in flags)) if flags else ()

    def _devices(self, standings: dict[str, Standing]) -> tuple[Device, ...]:
        if len(self.whole) < 2:
            return ()
        return tuple(
            Device(
                show_number(t.number), claim_says.mark_of(standings[t.id]),
                claim_says.line_of(standings[t.id], self.words, self.moments, is_own=t.id == self.own.id),
            )
            for t in self.whole
        )  # fmt: skip

    def _questions(self) -> tuple[Asked, ...]:
        if self.own.phase not in OPEN_PHASES:
            return ()
        return tuple(self._question(q) for q in self.asked[self.own.id] if _is_open(q, self.moments.now))

    def _question(self, q: Question) -> Asked:
        until = self.words("claim.until", when=self.moments.stamp(q.expires_at))
        price = self._price(q.price) if q.price is not None else ""
        if q.price is not None and not price:
            # The wording may name the price too.
            address = where_to(self.ctx, self.unit, self.claim.visit_id)
            said = self.words("claim.price_by_code", address=address) if address else self.words["claim.price_by_phone"]
            return Asked(q.id, said, "", until, (), by_code=bool(address))
        labels = tuple((code, self.said[f"answer.{code}"]) for code in rules.ANSWERS[q.kind])
        return Asked(q.id, q.wording, price, until, labels)

    def _answered(self) -> tuple[Answered, ...]:
        if self.own.phase not in OPEN_PHASES or self.own.phase is Phase.ON_SHELF:
            return ()
        newest = {q.kind: q for q in self.asked[self.own.id] if q.state == "answered"}
        return tuple(Answered(q.id, self._answer_sentence(q), may_take_back(self.unit, q)) for q in newest.values())

    def _answer_sentence(self, q: Question) -> str:
        key = "question_answered" if q.answered_how == "claim_page" else "question_answered_staff"
        return self.words(f"story.{key}", answer=self.said[f"answer.{q.answer}"])

    def _pickup(self, ready: Sequence[Ticket]) -> Pickup | None:
        if not ready:
            return None
        place = ", ".join(part for part in (self.shop.name, self.shop.address) if part)
        booking = bookings.live_booking(self.unit, self.claim.visit_id)
        if booking is not None:
            return self._booked(booking, place)
        if has_offer(self.ctx, self.unit, self.claim.visit_id):
            key = "says.pickup_open" if len(ready) == 1 else "says.pickup_open_many"
            return Pickup("open", f"{self._kept(ready)}{self.words[key]}", "", place)
        return Pickup("walk_in", self.words["says.pickup_walk_in"], "", place)

    def _kept(self, ready: Sequence[Ticket]) -> str:
        """That it was kept, for whoever could not come to the last time chosen."""
        missed = bookings.missed_times(self.unit, [self.claim.visit_id]).get(self.claim.visit_id)
        if missed is None or missed < min(t.phase_since for t in ready):
            return ""
        return self.words["says.pickup_kept" if len(ready) == 1 else "says.pickup_kept_many"] + " "

    def _booked(self, booking: Booking, place: str) -> Pickup:
        when = self.moments.at(booking.start_at)
        to_come = booking.end_at > self.moments.now
        key = "says.pickup_booked" if to_come else "says.pickup_past"
        return Pickup("booked", self.words(key, when=when), when, place, f"{booking.id}:{booking.revision}", to_come)

    def _known_for_story(self) -> Known:
        answers = {code: self.said[f"answer.{code}"] for kind in rules.ANSWERS for code in rules.ANSWERS[kind]}
        return Known(answers, self.own.promise_at, UNDO_WITHIN)


def _is_open(question: Question, now: datetime) -> bool:
    """A question past its end is closed, even before the nightly look has marked it."""
    return question.state == "open" and question.expires_at > now

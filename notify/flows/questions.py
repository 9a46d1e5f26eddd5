"""Ask the customer, take their answer, take a yes back, withdraw or expire a question."""

from __future__ import annotations

from datetime import datetime, timedelta

from notify.core import questions as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.instants import need_near
from notify.core.money import parse_amount
from notify.core.questions import QuestionState
from notify.core.text import clean_block, clean_line
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows import substitutes
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import events, messages, outbox, parts, questions, tickets
from notify.store.database import Unit
from notify.store.questions import Question


def ask(
    ctx: Context, actor: Actor, ticket_id: str, *, kind: str, wording: str, price: str = "", part_id: str = "",
    until: datetime | None = None,
) -> str:  # fmt: skip
    """Asks; wording and price are frozen from here on. `price` is text in the shop's currency. The identifier.

    Raises Invalid (kind, wording, price, past end), Conflict (same kind already open, ticket closed).
    """
    actor.need("ask")
    rules.check_kind(kind)
    words = clean_block(wording, field="wording", limit=1000)
    if not words:
        raise Invalid("The question has no words", "Write what the customer should decide.", field="wording")
    with ctx.db.write(actor.shop_id) as unit:
        return ask_within(
            ctx, unit, actor, ticket_id, kind=kind, wording=words, price=price, part_id=part_id, until=until
        )


def ask_within(
    ctx: Context, unit: Unit, actor: Actor, ticket_id: str, *, kind: str, wording: str, price: str = "",
    part_id: str = "", until: datetime | None = None,
) -> str:  # fmt: skip
    """Like ask with a wording that is clean, inside the caller's transaction."""
    actor.need("ask")
    shop, now = ctx.shop(unit), ctx.clock()
    ticket = tickets.get_ticket(unit, ticket_id, lock=True)
    _check_may_ask(unit, ticket_id, kind, ticket.phase in OPEN_PHASES)
    amount = parse_amount(price, currency=shop.currency) if price.strip() else None
    if kind == "price" and amount is None:
        raise Invalid("A question about the price needs the price", "Write the amount.", field="price")
    ends = need_near(until, now=now, field="until") if until else now + timedelta(days=shop.question_days)
    if ends <= now:
        raise Invalid("The question would end in the past", "Name a later time.", field="until")
    part = _own_part(unit, ticket_id, part_id)
    new = questions.add_question(
        unit, ticket_id=ticket_id, person_id=ticket.person_id, kind=kind, wording=wording, price=amount,
        part_id=part, at=now, expires_at=ends, staff_id=actor.staff_id,
    )  # fmt: skip
    record(ctx, unit, actor, "question_asked", visit_id=ticket.visit_id, ticket_id=ticket_id,
           codes={"question": new, "kind": kind}, expires={"question": ends})  # fmt: skip
    return new


def _own_part(unit: Unit, ticket_id: str, part_id: str) -> str | None:
    if not part_id:
        return None
    part = parts.get_part(unit, part_id)
    if part.ticket_id != ticket_id:
        raise Invalid("This part belongs to another ticket", "Choose one of this ticket's parts.", field="part")
    return part.id


def _check_may_ask(unit: Unit, ticket_id: str, kind: str, is_open: bool) -> None:
    if not is_open:
        raise Conflict("This ticket is closed", "Open a new one for another repair.")
    if any(q.state == QuestionState.OPEN and q.kind == kind for q in questions.questions_of(unit, ticket_id)):
        raise Conflict("The same kind of question is still open", "Withdraw it first, then ask anew.")


def answer(
    ctx: Context, actor: Actor, question_id: str, *, answer: str, said_by: str = "", ticket_id: str = "",
    price_shown: bool = False,
) -> None:  # fmt: skip
    """Takes an answer: from the customer on their page, or by staff or a script, who note in `said_by` who said it.

    `ticket_id`, when given, must be the question's ticket (a claim link opens its own ticket only). `price_shown`: a
    code to the stored contact showed the price, whatever it is (web/claim/unlocked).
    """
    actor.need("answer")
    by_staff = actor.kind in ("staff", "script")
    who = clean_line(said_by, field="said_by", limit=120)
    if by_staff and not who:
        raise Invalid("Who said so?", "Write the name and how they told you.", field="said_by")
    with ctx.db.write(actor.shop_id) as unit:
        question = _get(unit, question_id, ticket_id)
        if not price_shown:
            _check_price_is_shown(ctx, unit, actor, question)
        rules.check_answer(question.kind, answer)
        rules.check_open(question.state, expires_at=question.expires_at, now=ctx.clock())
        if _is_over(unit, question):
            raise Conflict("This device is no longer with us", "There is nothing to decide any more.")
        questions.change_question(
            unit, question, said_by=who, state=QuestionState.ANSWERED, answer=answer, answered_at=ctx.clock(),
            answered_how="staff" if by_staff else "claim_page",
            staff_id=actor.staff_id if by_staff else question.staff_id,
        )  # fmt: skip
        _withdraw_unsent(ctx, unit, question)
        before = _agree_price(unit, question, answer)
        _record(ctx, unit, actor, "question_answered", question, answer=answer, **before)
        substitutes.heard(ctx, unit, actor, question, answer)


def _agree_price(unit: Unit, question: Question, answer: str) -> dict[str, int]:
    """A yes to a price makes it the price agreed; what stood before goes into the event, so that it can come back."""
    if question.price is None or not rules.is_yes(question.kind, answer):
        return {}
    ticket = tickets.get_ticket(unit, question.ticket_id, lock=True)
    tickets.change_ticket(unit, ticket, price_agreed=question.price)
    return {} if ticket.price_agreed is None else {"price_before": ticket.price_agreed}


def _restore_price(unit: Unit, question: Question) -> None:
    ticket = tickets.get_ticket(unit, question.ticket_id, lock=True)
    if question.price is None or ticket.price_agreed != question.price:
        return  # nobody agreed to a price, or the shop has noted another one since
    story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    answered = [e for e in story if e.kind == "question_answered" and e.codes.get("question") == question.id]
    before = answered[-1].codes.get("price_before") if answered else None
    tickets.change_ticket(unit, ticket, price_agreed=before)


def _check_price_is_shown(ctx: Context, unit: Unit, actor: Actor, question: Question) -> None:
    """A price that the claim page does not show cannot be agreed to there."""
    limit = ctx.shop(unit).code_above
    if actor.kind == "customer" and 0 < limit < (question.price or 0):
        raise NotAllowed("This price is agreed after a code, or by phone", "Have a code sent, or call.", field="answer")


def take_back(ctx: Context, actor: Actor, question_id: str, *, ticket_id: str = "") -> None:
    """Takes a yes back; raises NotAllowed once a part was ordered or the bench began since.

    The question is open again if time is left.
    """
    actor.need("answer")
    with ctx.db.write(actor.shop_id) as unit:
        question = _get(unit, question_id, ticket_id)
        check_take_back(unit, question)
        again = question.expires_at > ctx.clock()
        state = QuestionState.OPEN if again else QuestionState.TAKEN_BACK
        questions.change_question(
            unit, question, state=state, answer="", answered_at=None, answered_how="", said_by_sealed=None
        )
        _restore_price(unit, question)
        _record(ctx, unit, actor, "answer_taken_back", question, open=int(again))
        substitutes.taken_back(ctx, unit, actor, question)


def check_take_back(unit: Unit, question: Question) -> None:
    """Raises NotAllowed when this answer cannot be taken back any more, or never could."""
    since = question.answered_at
    ticket = tickets.get_ticket(unit, question.ticket_id)
    ordered = since is not None and any(
        part.ordered_at is not None and part.ordered_at >= since for part in parts.parts_of(unit, ticket.id)
    )
    begun = ticket.phase is Phase.ON_BENCH and since is not None and ticket.phase_since >= since
    done = begun or ticket.phase not in (Phase.TAKEN_IN, Phase.INSPECTING, Phase.IN_LINE, Phase.ON_BENCH)
    rules.check_may_take_back(question.kind, question.state, question.answer, part_ordered=ordered, work_done=done)


def may_take_back(unit: Unit, question: Question) -> bool:
    """Whether the answer can still be taken back."""
    try:
        check_take_back(unit, question)
    except NotAllowed:
        return False
    return True


def withdraw(ctx: Context, actor: Actor, question_id: str) -> None:
    """The shop no longer needs to know; an unsent question is not sent."""
    actor.need("ask")
    with ctx.db.write(actor.shop_id) as unit:
        question = _get(unit, question_id, "")
        if question.state != QuestionState.OPEN:
            raise Conflict(f"This question is already {question.state}", "Nothing needs to be withdrawn.")
        questions.change_question(unit, question, state=QuestionState.WITHDRAWN)
        _withdraw_unsent(ctx, unit, question)
        _record(ctx, unit, actor, "question_withdrawn", question)


def expire_due(ctx: Context, actor: Actor) -> int:
    """Ends every question whose time is over and tells the shop; how many."""
    with ctx.db.write(actor.shop_id) as unit:
        due = questions.open_question_ids(unit, expired_at=ctx.clock())
        for question_id, _ in due:
            question = questions.get_question(unit, question_id, lock=True)
            if _is_over(unit, question):  # the device went home meanwhile: nobody needs to hear of it
                questions.change_question(unit, question, state=QuestionState.WITHDRAWN)
                _record(ctx, unit, actor, "question_withdrawn", question)
                continue
            questions.change_question(unit, question, state=QuestionState.EXPIRED)
            _record(ctx, unit, actor, "question_expired", question)
        return len(due)


def _is_over(unit: Unit, question: Question) -> bool:
    return tickets.get_ticket(unit, question.ticket_id).phase not in OPEN_PHASES


def _get(unit: Unit, question_id: str, ticket_id: str) -> Question:
    question = questions.get_question(unit, question_id, lock=True)
    if ticket_id and question.ticket_id != ticket_id:
        raise NotFound("There is no such question", "Open the page again; it may have been withdrawn.")
    return question


def _withdraw_unsent(ctx: Context, unit: Unit, question: Question) -> None:
    ticket = tickets.get_ticket(unit, question.ticket_id)
    causes = [
        m.cause for m in messages.messages_of_visit(unit, ticket.visit_id)
        if m.notice == "question" and m.refs.get("question") == question.id
    ]  # fmt: skip
    if causes:
        outbox.withdraw(unit, causes=causes, now=ctx.clock(), reason="question_closed")


def _record(ctx: Context, unit: Unit, actor: Actor, kind: str, question: Question, **more: str | int) -> None:
    ticket = tickets.get_ticket(unit, question.ticket_id)
    codes: dict[str, str | int] = {"question": question.id, "kind": question.kind, **more}
    record(ctx, unit, actor, kind, visit_id=ticket.visit_id, ticket_id=ticket.id, codes=codes)

"""What needs hands now: answers to act on, boxes, the bench in order, who is asked, the shelf, pickups, calls."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from notify.core.actors import Actor
from notify.core.bench_order import IN_HAND, IN_WORK
from notify.core.tickets import MOVE_EVENTS, WaitsOn
from notify.flows import contact_reads
from notify.flows.bench_order import Looked, look
from notify.flows.context import Context
from notify.flows.hits import hits_within
from notify.flows.view_bench_order import BenchOrder, bench_order
from notify.flows.view_calendar import Question as CalendarQuestion
from notify.flows.view_calendar import open_questions
from notify.flows.view_calls import Call, calls_to_make, numbers_in
from notify.flows.view_danger import InDanger, in_danger
from notify.flows.view_deliveries import Deliveries
from notify.flows.view_deliveries import gather as gather_deliveries
from notify.flows.view_lines import Lines, TicketLine
from notify.flows.view_pickups import Pickup, pickups_of
from notify.flows.view_ready import WAITING_DAYS, Foreseen, Readiness
from notify.flows.view_replies import BrokenLine, ReplyLine, broken_on_sheet, new_on_sheet, senders_in
from notify.flows.view_requests import RequestLine, pressing
from notify.flows.view_shelf import Shelved, shelf
from notify.flows.view_tried import Tried, tried_within
from notify.store import events, questions, tickets
from notify.store.database import Unit
from notify.store.questions import Question
from notify.store.replies import count_new_replies

# Whatever the shop does to a ticket after an answer shows that somebody has acted on it.
_ACTED = MOVE_EVENTS | {
    "part_needed",
    "part_ordered",
    "part_not_needed",
    "question_asked",
    "promise_changed",
    "corrected",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """One question beside its ticket: `answer` is a code, `said_by` who gave it where staff noted it."""

    ticket: TicketLine
    question_id: str
    kind: str
    wording: str
    price: int | None
    state: str
    answer: str
    said_by: str
    asked_at: datetime
    answered_at: datetime | None
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class DaySheet:
    """One sheet, each list in the order to be done. `resting` counts tickets that wait for parts and need nothing.

    `hit` counts bookings that changed hours have hit and nobody has decided about. `waiting` are all tickets that wait
    for a part, the one that is ready first on top. `foreseen` tells of each ticket in `bench`, `asked` and `waiting`
    when it will be ready; `old` is when that was reckoned, if it is too long ago to be relied on. `order` is what is
    said about the order of the bench. `mine` are those in `bench` that the technician who looks took once; they stand
    before the others. `next_id` is the first in line whoever looks, "" when nothing is.
    """

    now: datetime
    today: date
    answered: tuple[Asked, ...]
    deliveries: Deliveries
    bench: tuple[TicketLine, ...]
    asked: tuple[Asked, ...]
    shelf: tuple[Shelved, ...]
    pickups: tuple[Pickup, ...]
    calls: tuple[Call, ...]
    hit: int
    calendar: tuple[CalendarQuestion, ...]
    replies: tuple[ReplyLine, ...]
    unread: int
    broken: tuple[BrokenLine, ...]
    tried: tuple[Tried, ...]
    resting: int
    waiting: tuple[TicketLine, ...]
    foreseen: Mapping[str, Foreseen]
    old: datetime | None
    order: BenchOrder
    danger: tuple[InDanger, ...]
    mine: frozenset[str]
    next_id: str
    requests: tuple[RequestLine, ...] = ()

    def is_later(self, line: TicketLine) -> bool:
        """Whether others in line for the bench come before it, in the order of the whole bench."""
        return line.phase not in IN_HAND and line.ticket_id != self.next_id


def view(ctx: Context, actor: Actor) -> DaySheet:
    """Everything that needs hands now, from one snapshot. Calls are empty for who may not see contacts."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        now, lines, today = ctx.clock(), Lines(unit), ctx.today(ctx.shop(unit))
        work = lines.of(tickets.tickets_in(unit, IN_WORK))
        about = {line.ticket_id: line for line in work}
        answered, deliveries = _answered(unit, about), gather_deliveries(ctx, unit, lines)
        ready = Readiness(ctx, unit)
        waiting, looked = _by_ready(work, ready), look(ctx, unit)
        bench = _in_order(work, looked, leave_out={one.ticket.ticket_id for one in answered})
        mine = _own(bench, actor)
        sheet = DaySheet(
            now=now, today=today, answered=answered, deliveries=deliveries,
            bench=tuple(sorted(bench, key=lambda line: line.ticket_id not in mine)), mine=mine,
            next_id=next((line.ticket_id for line in bench if line.phase not in IN_HAND), ""),
            order=bench_order(unit, looked, lines, about),
            asked=_asked(unit, about), shelf=shelf(ctx, unit, lines),
            pickups=pickups_of(ctx, unit, lines, today), calls=calls_to_make(ctx, unit, lines),
            hit=len(hits_within(ctx, unit)), calendar=open_questions(ctx, unit), replies=new_on_sheet(ctx, unit, lines),
            requests=pressing(ctx, unit) if actor.may("take_request") else (),
            unread=count_new_replies(unit), broken=broken_on_sheet(unit), tried=tried_within(ctx, unit, lines),
            resting=_resting(work, deliveries), waiting=waiting, old=ready.old,
            danger=in_danger(unit, ctx.shop(unit), work, ready.by_ticket, now=now),
            foreseen=ready.of(line for line in work if not _rests(line)) | ready.of(waiting, most_days=WAITING_DAYS),
        )  # fmt: skip
    if actor.may("see_contact"):
        contact_reads.note(ctx, actor, "day_sheet", (*numbers_in(sheet.calls), *senders_in(sheet.replies)))
    return sheet


def _by_ready(work: tuple[TicketLine, ...], ready: Readiness) -> tuple[TicketLine, ...]:
    """What waits for a part, what is ready first on top; what nobody can foresee comes last."""

    def rank(line: TicketLine) -> tuple[bool, datetime, str]:
        found = ready.by_ticket.get(line.ticket_id)
        middle = found.at(0.5) if found else None
        return middle is None, middle or line.created_at, line.number

    return tuple(sorted((line for line in work if _rests(line)), key=rank))


def _rests(line: TicketLine) -> bool:
    """Whether it waits for a part, and does not lie on the bench all the same."""
    return line.waits_on is WaitsOn.PART and line.phase not in IN_HAND


def _resting(work: tuple[TicketLine, ...], deliveries: Deliveries) -> int:
    """Tickets that wait for parts none of which needs hands today: not late, not due today, not still to order."""
    needing = {part.ticket.ticket_id for part in deliveries.to_order()}
    for box in deliveries.due():
        needing |= {part.ticket.ticket_id for part in box.parts}
    return sum(1 for line in work if line.waits_on is WaitsOn.PART and line.ticket_id not in needing)


def _in_order(work: tuple[TicketLine, ...], looked: Looked, *, leave_out: set[str]) -> tuple[TicketLine, ...]:
    """What the bench can do, in its order (core/bench_order), which is that of everything in work.

    Tickets with a fresh answer stand with the answers instead, unless they lie on the bench already.
    """
    able = {line.ticket_id: line for line in work if _is_able(line, leave_out)}
    return tuple(able[one] for one in looked.order if one in able)


def _own(bench: tuple[TicketLine, ...], actor: Actor) -> frozenset[str]:
    """What a technician has in hand or had: theirs before the others'. Whoever is at the counter owns none."""
    is_technician = actor.kind == "staff" and actor.role == "technician"
    return frozenset(one.ticket_id for one in bench if is_technician and one.technician_id == actor.id)


def _is_able(line: TicketLine, leave_out: set[str]) -> bool:
    return (line.waits_on is WaitsOn.BENCH and line.ticket_id not in leave_out) or line.phase in IN_HAND


def _asked(unit: Unit, about: dict[str, TicketLine]) -> tuple[Asked, ...]:
    """Open questions, the one that ends first on top."""
    found = [q for q in questions.questions_in(unit, ("open",), IN_WORK) if q.ticket_id in about]
    return tuple(_line(q, about) for q in sorted(found, key=lambda q: (q.expires_at, q.asked_at)))


def _answered(unit: Unit, about: dict[str, TicketLine]) -> tuple[Asked, ...]:
    """Each ticket's newest closed question that nobody has acted on since; the oldest answer first."""
    newest: dict[str, Question] = {}
    for question in questions.questions_in(unit, ("answered", "expired", "taken_back"), IN_WORK):
        kept = newest.get(question.ticket_id)
        if kept is None or _closed_at(question) >= _closed_at(kept):
            newest[question.ticket_id] = question
    open_ones = [q for q in newest.values() if q.ticket_id in about and not _acted_since(unit, about[q.ticket_id], q)]
    return tuple(_line(q, about) for q in sorted(open_ones, key=_closed_at))


def _closed_at(question: Question) -> datetime:
    return question.answered_at or question.expires_at


def _acted_since(unit: Unit, line: TicketLine, question: Question) -> bool:
    """By the order of the story, not by the clock: two things may happen at one instant."""
    acted = True
    for event in events.story_of(unit, visit_id=line.visit_id, ticket_id=line.ticket_id):
        if event.codes.get("question") == question.id and event.kind != "question_asked":
            acted = False
        elif event.kind in _ACTED:
            acted = True
    return acted


def _line(question: Question, about: dict[str, TicketLine]) -> Asked:
    return Asked(
        ticket=about[question.ticket_id], question_id=question.id, kind=question.kind, wording=question.wording,
        price=question.price, state=question.state, answer=question.answer, said_by=question.said_by,
        asked_at=question.asked_at, answered_at=question.answered_at, expires_at=question.expires_at,
    )  # fmt: skip

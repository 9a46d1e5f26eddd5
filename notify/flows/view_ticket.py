"""Everything that a page or command shows of one ticket, from one snapshot. Long: one line for each thing.

Contacts are masked, and no claim secret is among it; whoever wrote about it from an address of somebody else is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.events import Event
from notify.core.mask import mask_email, mask_phone
from notify.core.questions import ANSWERS
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows import contact_reads
from notify.flows.context import Context
from notify.flows.forecast import suggest_within
from notify.flows.pickup import offers_within
from notify.flows.view_deliveries import PartLine, part_lines
from notify.flows.view_keeping import Keeping, keeping_of
from notify.flows.view_lines import Lines, TicketLine
from notify.flows.view_messages import MessageLine, message_lines
from notify.flows.view_moves import MoveOffer, Refused, UndoOffer, offers, undo_offer
from notify.flows.view_ready import Foreseen, foreseen_within
from notify.flows.view_replies import ReplyLine, replies_on, senders_in
from notify.store import bookings, events, messages, notes, parts, people, questions, requests, shops, tickets, visits
from notify.store.database import Unit
from notify.store.questions import Question
from notify.store.repair_kinds import KindRow, list_kinds
from notify.store.tickets import Ticket

ROLES = ("bringer", "tell", "payer", "collector")


@dataclass(frozen=True, slots=True)
class ContactLine:
    """One way to reach a person, masked; `uses` are the purposes allowed today, none once all was stopped there."""

    channel: str
    masked: str
    uses: tuple[str, ...]
    in_repaired_device: bool
    undeliverable: bool
    undeliverable_why: str
    stopped_on: datetime | None = None
    id: str = ""


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person of the visit with every part they have in it."""

    id: str
    roles: tuple[str, ...]
    name: str
    language: str
    forgotten: bool
    contacts: tuple[ContactLine, ...]
    child: bool = False
    set_aside: bool = False


@dataclass(frozen=True, slots=True)
class QuestionLine:
    """One question; `options` are the answers it offers, `said_by` who gave the answer, `by` who entered it."""

    id: str
    kind: str
    wording: str
    price: int | None
    state: str
    answer: str
    options: tuple[str, ...]
    asked_at: datetime
    expires_at: datetime
    answered_at: datetime | None
    answered_how: str
    said_by: str
    by: str


@dataclass(frozen=True, slots=True)
class NoteLine:
    """One note; `event` is the kind of what it explains, empty for a note of its own."""

    at: datetime
    by: str
    text: str
    event: str


@dataclass(frozen=True, slots=True)
class StoryLine:
    """One event: its kind, codes, and who did it (`by` is a name for staff, else the kind of doer).

    `taker` is the name of who took the devices, when it was not the bringer and they are not forgotten.
    """

    id: str
    at: datetime
    kind: str
    codes: dict[str, str | int]
    actor_kind: str
    by: str
    taker: str = ""


@dataclass(frozen=True, slots=True)
class SlotLine:
    """A pickup time on offer: shop-local start, and which of two when the clock shows it twice."""

    local: datetime
    fold: int
    start: datetime


@dataclass(frozen=True, slots=True)
class TicketView:
    """All of it. `others` are the visit's further devices; amounts in minor units; `follows` the earlier ticket."""

    line: TicketLine
    condition: str
    accessories: str
    price_agreed: int | None
    price_limit: int | None
    deposit: int | None
    paid: bool
    waits_here: bool
    others: tuple[TicketLine, ...]
    follows: TicketLine | None
    people: tuple[PersonLine, ...]
    moves: tuple[MoveOffer, ...]
    refused: tuple[Refused, ...]
    undo: UndoOffer | None
    questions: tuple[QuestionLine, ...]
    parts: tuple[PartLine, ...]
    suppliers: tuple[tuple[str, str], ...]
    suggested: datetime | None
    foreseen: Foreseen
    booked_at: datetime | None
    slots: tuple[SlotLine, ...]
    notes: tuple[NoteLine, ...]
    messages: tuple[MessageLine, ...]
    replies: tuple[ReplyLine, ...]
    story: tuple[StoryLine, ...]
    keeping: Keeping
    version: int
    kind_id: str
    kinds: tuple[KindRow, ...]


def view(ctx: Context, actor: Actor, ticket_id: str) -> TicketView:
    """The ticket with this identifier, as this person may see and move it; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        seen = _view(ctx, unit, actor, tickets.get_ticket(unit, ticket_id), Lines(unit))
    if actor.kind == "staff":  # a script is given no replies
        contact_reads.note(ctx, actor, "ticket", senders_in(seen.replies))
    return seen


def _view(ctx: Context, unit: Unit, actor: Actor, ticket: Ticket, lines: Lines) -> TicketView:
    (line,) = lines.of([ticket])
    story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    moves, refused = offers(actor, ticket, line.waits_on)
    booking = bookings.live_booking(unit, ticket.visit_id)
    in_work = ticket.phase in OPEN_PHASES and ticket.phase is not Phase.ON_SHELF
    return TicketView(
        line=line, condition=ticket.condition, accessories=ticket.accessories, price_agreed=ticket.price_agreed,
        price_limit=ticket.price_limit, deposit=ticket.deposit, paid=ticket.paid,
        waits_here=visits.get_visit(unit, ticket.visit_id).waits_here,
        others=lines.of(t for t in tickets.tickets_of_visit(unit, ticket.visit_id) if t.id != ticket.id),
        follows=lines.by_id([ticket.follows_id]).get(ticket.follows_id) if ticket.follows_id else None,
        people=_people(unit, ticket.visit_id), moves=moves, refused=refused,
        undo=undo_offer(ctx, unit, actor, ticket),
        questions=tuple(_question(q, lines) for q in questions.questions_of(unit, ticket.id)),
        parts=part_lines(ctx, unit, lines, parts.parts_of(unit, ticket.id)),
        suppliers=tuple((row.id, str(row.name)) for row in shops.list_suppliers(unit)),
        suggested=suggest_within(ctx, unit, ticket.id) if in_work else None,
        foreseen=foreseen_within(ctx, unit, line),
        booked_at=booking.start_at if booking else None, slots=_slots(ctx, unit, ticket),
        notes=_notes(unit, ticket, lines, story),
        replies=replies_on(ctx, unit, lines, visit_id=ticket.visit_id, ticket_id=ticket.id),
        messages=message_lines(unit, _about(unit, ticket)), story=_story(unit, story, lines),
        keeping=keeping_of(ctx, unit, actor, ticket), version=ticket.version,
        kind_id=ticket.kind_id or "", kinds=tuple(k for k in list_kinds(unit) if k.active or k.id == ticket.kind_id),
    )  # fmt: skip


def _people(unit: Unit, visit_id: str) -> tuple[PersonLine, ...]:
    by_role = visits.visit_people(unit, visit_id)
    roles: dict[str, tuple[str, ...]] = {}
    for role in ROLES:
        for person_id in by_role.get(role, ()):
            roles[person_id] = (*roles.get(person_id, ()), role)
    uses = people.allowed_uses(unit, roles)
    known, aside = people.people_by_id(unit, roles), requests.set_aside_among(unit, roles)
    return tuple(
        PersonLine(
            id=i, roles=found, name=known[i].name, language=known[i].language, forgotten=known[i].forgotten,
            child=known[i].child, set_aside=i in aside,
            contacts=tuple(_contact(c, uses.get(i, {}).get(c.channel, frozenset())) for c in _contacts(unit, known[i])),
        )
        for i, found in roles.items()
    )  # fmt: skip


def _contacts(unit: Unit, person: people.Person) -> tuple[people.Contact, ...]:
    return () if person.forgotten else people.contacts_of(unit, person.id)


def _contact(contact: people.Contact, uses: frozenset[str]) -> ContactLine:
    masked = mask_phone(contact.address) if contact.channel == "sms" else mask_email(contact.address)
    return ContactLine(
        contact.channel,
        masked,
        () if contact.suppressed_at else tuple(sorted(uses, reverse=True)),
        contact.in_repaired_device,
        contact.undeliverable,
        contact.undeliverable_why,
        contact.suppressed_at,
        contact.id,
    )


def _question(q: Question, lines: Lines) -> QuestionLine:
    return QuestionLine(
        id=q.id, kind=q.kind, wording=q.wording, price=q.price, state=q.state, answer=q.answer,
        options=ANSWERS[q.kind], asked_at=q.asked_at, expires_at=q.expires_at, answered_at=q.answered_at,
        answered_how=q.answered_how, said_by=q.said_by, by=lines.staff_name(q.staff_id),
    )  # fmt: skip


def _slots(ctx: Context, unit: Unit, ticket: Ticket) -> tuple[SlotLine, ...]:
    if ticket.phase is not Phase.ON_SHELF:
        return ()
    found = offers_within(ctx, unit, ticket.visit_id)
    return tuple(SlotLine(offer.slot.local, offer.slot.fold, offer.slot.start) for offer in found)


def _notes(unit: Unit, ticket: Ticket, lines: Lines, story: tuple[Event, ...]) -> tuple[NoteLine, ...]:
    kinds = {event.id: event.kind for event in story}
    return tuple(
        NoteLine(note.at, lines.staff_name(note.staff_id), note.text, kinds.get(note.event_id or "", ""))
        for note in notes.notes_of(unit, ticket.id)
        if note.text
    )


def _about(unit: Unit, ticket: Ticket) -> list[messages.Message]:
    mine = (f"ticket:{ticket.id}", f"visit:{ticket.visit_id}")
    return [m for m in reversed(messages.messages_of_visit(unit, ticket.visit_id)) if m.about in mine]


def _story(unit: Unit, story: tuple[Event, ...], lines: Lines) -> tuple[StoryLine, ...]:
    takers = {str(event.codes["collector"]) for event in story if "collector" in event.codes}
    names = {i: person.name for i, person in people.people_by_id(unit, takers).items()} if takers else {}
    return tuple(_told(event, lines, names.get(str(event.codes.get("collector", "")), "")) for event in story)


def _told(event: Event, lines: Lines, taker: str) -> StoryLine:
    by = lines.staff_name(event.actor_id) if event.actor_kind == "staff" else ""
    return StoryLine(event.id, event.at, event.kind, dict(event.codes), event.actor_kind, by, taker)

"""What the shop sees of replies: who wrote, when, what was read out of it, the words, and what is left to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.deadlines import months_after
from notify.core.mask import mask_email, mask_phone
from notify.flows import contact_reads
from notify.flows.by_beginning import the_one
from notify.flows.context import Context
from notify.flows.view_lines import Lines
from notify.store import people, replies, tickets, visits
from notify.store.database import Unit
from notify.store.replies import Reply

CUSTOMER, SOMEBODY_ELSE, STRANGER = "customer", "somebody_else", "stranger"


@dataclass(frozen=True, slots=True)
class ReplyLine:
    """One reply. `who` is customer, somebody_else (not from the address our message went to) or stranger.

    `sender` is masked for a customer, whose address we know, and whole for the others, who must be answered by hand.
    `kind` is what was read out of it; `done` says that the program acted and nobody needs to. `answer_by` is the last
    day for a wish to be forgotten. Texts are empty once they were erased. `by` is who looked at it.
    """

    id: str
    at: datetime
    channel: str
    kind: str
    who: str
    person: str
    sender: str
    subject: str
    text: str
    is_new: bool
    done: bool
    by: str
    number: str
    ticket_id: str
    visit_id: str
    answer_by: date | None


@dataclass(frozen=True, slots=True)
class ReplyList:
    """A page of all replies, newest first, and how many nobody has looked at."""

    lines: tuple[ReplyLine, ...]
    has_older: bool
    new: int


@dataclass(frozen=True, slots=True)
class BrokenLine:
    """An address that does not work, masked, of somebody who is told about a visit; `why` is a code."""

    visit_id: str
    ticket_id: str
    number: str
    person: str
    channel: str
    masked: str
    why: str
    since: datetime


def view(ctx: Context, actor: Actor, *, page: int = 1, size: int = 50) -> ReplyList:
    """One page of all replies, those of strangers too."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        found = replies.list_replies(unit, limit=size + 1, skip=(max(1, page) - 1) * size)
        lines = reply_lines(ctx, unit, Lines(unit), found[:size])
        seen = ReplyList(lines, len(found) > size, replies.count_new_replies(unit))
    contact_reads.note(ctx, actor, "replies", senders_in(lines))
    return seen


def senders_in(lines: Iterable[ReplyLine]) -> tuple[contact_reads.Seen, ...]:
    """Which of these name their writer in full, for the access log: a stranger is known by the reply alone."""
    return tuple((one.id, None) for one in lines if one.who != CUSTOMER and one.sender)


def reply_lines(ctx: Context, unit: Unit, lines: Lines, found: Iterable[Reply]) -> tuple[ReplyLine, ...]:
    """A line for each reply, in the order given, inside the caller's transaction."""
    whole, zone = tuple(found), ZoneInfo(ctx.shop(unit).zone)
    about = tickets.tickets_of_visits(unit, {r.visit_id for r in whole if r.visit_id})
    known = people.people_by_id(unit, {r.person_id for r in whole if r.person_id})
    return tuple(_line(r, about.get(r.visit_id, ()), known.get(r.person_id), lines, zone) for r in whole)


def _line(
    reply: Reply, visit: tuple[tickets.Ticket, ...], person: people.Person | None, lines: Lines, zone: ZoneInfo
) -> ReplyLine:
    ticket = next((t for t in visit if t.id == reply.ticket_id), visit[0] if visit else None)
    wants_out = reply.kind == "erasure"
    return ReplyLine(
        id=reply.id, at=reply.at, channel=reply.channel, kind=reply.kind, who=_who(reply),
        person=person.name if person else "", sender=_sender(reply), subject=reply.subject, text=reply.text,
        is_new=reply.state == replies.NEW, done=reply.state == replies.SEEN and not reply.staff_id,
        by=lines.staff_name(reply.staff_id), number=show_number(ticket.number) if ticket else "",
        ticket_id=ticket.id if ticket else "", visit_id=reply.visit_id,
        answer_by=_answer_by(reply.at.astimezone(zone).date()) if wants_out else None,
    )  # fmt: skip


def _answer_by(received: date) -> date:
    """GDPR 12(3): one month after receipt; weekends are known here, the holidays of a place are not."""
    return months_after(received, 1, holidays=frozenset())


def _who(reply: Reply) -> str:
    if reply.person_id:
        return CUSTOMER
    return SOMEBODY_ELSE if reply.visit_id else STRANGER


def _sender(reply: Reply) -> str:
    if not reply.person_id or not reply.sender:
        return reply.sender
    return mask_email(reply.sender) if reply.channel == "email" else mask_phone(reply.sender)


def replies_on(ctx: Context, unit: Unit, lines: Lines, *, visit_id: str, ticket_id: str) -> tuple[ReplyLine, ...]:
    """What was written about this ticket or its whole visit, newest first."""
    found = (r for r in replies.replies_of_visit(unit, visit_id) if r.ticket_id in ("", ticket_id))
    return reply_lines(ctx, unit, lines, found)


def new_on_sheet(ctx: Context, unit: Unit, lines: Lines) -> tuple[ReplyLine, ...]:
    """What nobody has looked at yet, the oldest first."""
    return reply_lines(ctx, unit, lines, replies.new_replies(unit))


def broken_on_sheet(unit: Unit) -> tuple[BrokenLine, ...]:
    """Addresses that do not work, of people who still have a device with us."""
    rows = visits.broken_contacts(unit)
    about = tickets.tickets_of_visits(unit, {row.visit_id for row in rows})
    names = people.people_by_id(unit, {row.person_id for row in rows})
    contacts = people.contacts_of_all(unit, (one.id for one in names.values() if not one.forgotten))
    masked = {one.id: _masked(one) for own in contacts.values() for one in own}
    return tuple(
        BrokenLine(
            visit_id=row.visit_id, ticket_id=about[row.visit_id][0].id,
            number=show_number(about[row.visit_id][0].number), person=names[row.person_id].name, channel=row.channel,
            masked=masked.get(row.contact_id, ""), why=row.undeliverable_why, since=row.undeliverable_at,
        )
        for row in rows
    )  # fmt: skip


def _masked(contact: people.Contact) -> str:
    return mask_email(contact.address) if contact.channel == "email" else mask_phone(contact.address)


def find_reply(ctx: Context, actor: Actor, beginning: str) -> str:
    """A reply by the beginning of its identifier; raises NotFound or Conflict."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        found = replies.ids_beginning(unit, beginning) if beginning else ()
    return the_one(found, beginning, thing="reply", see="shelfbell replies", field="reply")

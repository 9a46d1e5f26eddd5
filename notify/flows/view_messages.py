"""What the pages say of messages: a line with what became of each, and one message just as its reader sees it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy
from email.message import EmailMessage

from notify.core.actors import Actor
from notify.core.claim_number import hide_tokens, show_number
from notify.core.contact_code import hide_codes
from notify.core.errors import NotFound
from notify.core.mask import mask_email, mask_phone
from notify.core.messages import MessageState
from notify.core.notices import NOTICES, SECRET
from notify.core.one_click import hide_stop_links
from notify.flows.context import Context
from notify.render.sms import Count, count
from notify.store import events, messages, people, receipts, staff, tickets
from notify.store.database import Unit
from notify.store.messages import Message

TROUBLE = frozenset({MessageState.GIVEN_UP, MessageState.TO_CALL})


@dataclass(frozen=True, slots=True)
class MessageLine:
    """One message in a list; codes as stored. `to` is masked, empty for a call or when the person is forgotten.

    `at` is when it ended, else when it is due; `when` is when it ended, else when it was planned. `shop` tells
    a notice to the shop itself, and `staff` for whom of its people it rings. `perhaps_twice`: the end of a try is
    not known and another try followed; `delivery` is what was heard after it left (core/messages.Delivery).
    """

    id: str
    notice: str
    state: str
    reason: str
    channel: str
    to: str
    shop: bool
    forgotten: bool
    number: str
    ticket_id: str
    at: datetime
    when: datetime
    tried: int
    trouble: bool
    staff: str
    perhaps_twice: bool
    delivery: str
    delivery_at: datetime | None
    parts: int
    resend: int


@dataclass(frozen=True, slots=True)
class Try:
    """What the other side said to one try (codes of channels/base, its text cleaned of addresses)."""

    at: datetime
    verdict: str
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class MessageShown:
    """One message. `subject`, `text`, `html` are those of the stored bytes; `say` is the sentence of a call.

    All are empty while it is not composed (just before it leaves) and after its person was forgotten.
    `caused_by` is the kind of the event that it tells; `count` sizes a text message.
    """

    line: MessageLine
    subject: str
    text: str
    html: str
    has_invite: bool
    sms: str
    count: Count | None
    say: str
    created_at: datetime
    expires_at: datetime
    caused_by: str
    tries: tuple[Try, ...]


def message_lines(unit: Unit, found: Iterable[Message]) -> tuple[MessageLine, ...]:
    """A line for each message, in the order given."""
    whole = tuple(found)
    visits = tickets.tickets_of_visits(unit, {m.visit_id for m in whole})
    known = people.people_by_id(unit, {m.person_id for m in whole if m.person_id})
    names = {row.id: str(row.name) for row in staff.list_staff(unit)}
    return tuple(_line(unit, m, visits[m.visit_id], known.get(m.person_id), names) for m in whole)


def _line(
    unit: Unit, message: Message, visit: tuple[tickets.Ticket, ...], person: people.Person | None,
    names: Mapping[str, str],
) -> MessageLine:  # fmt: skip
    thing = message.about.partition(":")[2]
    ticket = next((t for t in visit if t.id == thing), visit[0])
    gone = person is not None and person.forgotten
    return MessageLine(
        id=message.id, notice=message.notice, state=str(message.state), reason=message.reason,
        channel=message.channel, to="" if gone or not message.person_id else _masked(unit, message.contact_id),
        shop=NOTICES[message.notice].audience == "shop", forgotten=gone, number=show_number(ticket.number),
        ticket_id=ticket.id, at=message.ended_at or message.due_at, when=message.ended_at or message.created_at,
        tried=message.attempts,
        trouble=message.state in TROUBLE, staff=names.get(message.contact_id, "") if not message.person_id else "",
        perhaps_twice=message.ambiguous > 0 and message.attempts > 1, delivery=message.delivery,
        delivery_at=message.delivery_at, parts=message.parts, resend=message.resend,
    )  # fmt: skip


def _masked(unit: Unit, contact_id: str) -> str:
    contact = people.get_contact(unit, contact_id) if contact_id else None
    if contact is None:
        return ""
    return mask_phone(contact.address) if contact.channel == "sms" else mask_email(contact.address)


def view_one(ctx: Context, actor: Actor, message_id: str, *, whole_links: bool = False) -> MessageShown:
    """One message as its reader sees it; raises NotFound.

    The secret in claim links is dotted out, since it hands devices back, and the one that stops a kind of message,
    since that is the customer's own to press, and a code, which opens more than they do; `whole_links` is for the demo
    only.
    """
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        message = messages.get_message(unit, message_id)
        if message is None:
            raise NotFound("There is no such message", "Look at the list of messages.")
        (line,) = message_lines(unit, [message])
        hide = _veil_secret if message.notice in SECRET else _veil
        veil: Callable[[str], str] = str if whole_links else hide
        whole = "" if line.forgotten else messages.get_sentence(unit, message)
        sentence = veil(whole)
        mail = None if line.forgotten else _mail(messages.get_bytes(unit, message))
        cause = events.get_event(unit, str(message.refs.get("event", "")))
        return MessageShown(
            line=line, subject=str(mail["Subject"] or "") if mail else "",
            text=veil(_part(mail, "plain")) if message.channel == "email" else "", html=veil(_part(mail, "html")),
            has_invite=mail is not None and any(p.get_content_type() == "text/calendar" for p in mail.walk()),
            sms=sentence if message.channel == "sms" else "",
            count=count(whole) if message.channel == "sms" and whole else None,  # as it left: dots count otherwise
            say=sentence if message.channel == "call" else "", created_at=message.created_at,
            expires_at=message.expires_at, caused_by=cause.kind if cause else "",
            tries=tuple(Try(r.at, r.verdict, r.code, r.text) for r in receipts.receipts_of(unit, message.id)),
        )  # fmt: skip


def _veil(text: str) -> str:
    return hide_stop_links(hide_tokens(text))


def _veil_secret(text: str) -> str:
    return hide_codes(_veil(text))


def _mail(data: bytes) -> EmailMessage | None:
    return message_from_bytes(data, policy=policy.default) if data else None


def _part(mail: EmailMessage | None, kind: str) -> str:
    if mail is None:
        return ""
    body = mail.get_body((kind,))
    return str(body.get_content()) if body is not None else ""

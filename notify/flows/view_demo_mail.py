"""Every message of the demo as its reader sees it; the page that shows it exists in the demo only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from email import message_from_bytes, policy

from notify.core.actors import Actor
from notify.core.messages import MessageState
from notify.flows import contact_reads
from notify.flows.context import Context
from notify.store import messages
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Letter:
    """One message that was sent: to whom (in full, everybody is invented), subject, and the text of an SMS."""

    message_id: str
    when: datetime
    to: str
    subject: str
    channel: str
    sms: str


def view_demo_mail(ctx: Context, actor: Actor, *, limit: int = 200) -> tuple[Letter, ...]:
    """The newest messages that left, newest first."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        sent = messages.list_messages(unit, states=(MessageState.SENT,), limit=limit)
        letters = [_letter(unit, message) for message in sent if message.has_bytes]
        seen = [(message.person_id, message.contact_id or None) for message in sent if message.person_id]
    contact_reads.note(ctx, actor, "letters", seen)
    return tuple(sorted(letters, key=lambda letter: letter.when, reverse=True))


def _letter(unit: Unit, message: messages.Message) -> Letter:
    mail = message_from_bytes(messages.get_bytes(unit, message), policy=policy.default)
    body = mail.get_body(("plain",))
    sms = str(body.get_content()).strip() if message.channel == "sms" and body else ""
    when = message.ended_at or message.due_at
    to = str(mail["To"])
    # A gateway's address begins with the digits of the number: the reader is a phone.
    reader = f"+{to.partition('@')[0]}" if message.channel == "sms" else to
    return Letter(message.id, when, reader, str(mail["Subject"] or ""), message.channel, sms)

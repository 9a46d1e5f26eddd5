"""Turns one message and its context into the exact bytes that will leave, once and for all tries."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from notify.channels.sms_mailgate import gateway_address
from notify.core.notices import ANSWER, CONSENT_PURPOSES, NOTICES
from notify.core.one_click import Use, make_stop_token
from notify.core.return_address import fill, make_token
from notify.core.shop import Shop
from notify.dispatch.entries import Reader, entry_for, entry_stays
from notify.render.email import Mailbox, compose_mail
from notify.render.sms import count
from notify.render.texts import Texts
from notify.store import replies
from notify.store.database import Unit
from notify.store.messages import Composed, Message


@dataclass(frozen=True, slots=True)
class Sending:
    """How the installation signs its mail. `organizer` holds `{token}` where a booking's token goes.

    `sms_template` is the gateway's address with `{digits}`; empty while text messages are off. `sms_sender` is the
    address that gateway knows the shop by, `sms_parts` the most parts of one text message. `bounce` holds
    `{token}` where the token of a message goes (core/return_address); empty: reports come back to the sender.
    `stop_key` makes the links that stop a kind of message (core/one_click).
    """

    sender: Mailbox
    reply_to: str
    organizer: str
    sms_template: str
    public_url: str
    bounce: str = ""
    bounce_key: bytes = field(default=b"", repr=False)
    stop_key: bytes = field(default=b"", repr=False)
    sms_sender: str = ""
    sms_parts: int = 3

    def text_sender(self) -> str:
        """The envelope's and header's sender of a text message; the one of e-mail unless another is set."""
        return self.sms_sender or self.sender.address

    def return_address(self, message_id: str, contact_id: str) -> str:
        """The envelope's sender, to which reports about this message come back (RFC 5321 4.5.5: a read address)."""
        if not self.bounce:
            return self.sender.address
        return fill(self.bounce, make_token(message_id, contact_id, key=self.bounce_key))

    def stop_link(self, notice: str, person_id: str, channel: str) -> str:
        """The address that stops this kind of message; empty for a kind that needs no consent, and without a page."""
        purpose = NOTICES[notice].purpose
        if not self.public_url or purpose not in CONSENT_PURPOSES or channel == "call":
            return ""
        token = make_stop_token(Use(person_id, channel, purpose), key=self.stop_key)
        return f"{self.public_url.rstrip('/')}/u/{token}"


@dataclass(frozen=True, slots=True)
class Composer:
    """Composes with the given texts and settings; `words` gives the word function of a language."""

    texts: Texts
    words: Callable[[str], Callable[..., str]]
    sending: Sending

    def compose(
        self, unit: Unit, message: Message, *, shop: Shop, context: Mapping[str, Any], language: str, channel: str,
        contact_id: str, address: str, now: datetime,
    ) -> Composed:  # fmt: skip
        """The bytes for `address` (e-mail or E.164). For `call` there are none: only the sentence to say."""
        domain = self.sending.sender.address.rpartition("@")[2]
        stop_link = self.sending.stop_link(message.notice, message.person_id, channel)
        stays = entry_stays(unit, message, channel=channel, contact_id=contact_id)
        context = {**context, "stop_link": stop_link, "entry_stays": stays}
        # Another contact is another text: never under the same Message-ID (RFC 5322 3.6.4).
        identity = f"<{message.id}.{channel}.{contact_id[-12:] or 'shop'}.{message.resend}@{domain}>"

        def part(name: str) -> str:
            return self.texts.render(language=language, notice=message.notice, part=name, context=context)

        if channel == "call":
            return Composed(b"", "", part("call"), channel, contact_id)
        if channel == "sms":
            text = self.texts.text_message(
                language=language, notice=message.notice, context=context, most=self.sending.sms_parts
            )
            payload = compose_mail(
                sender=Mailbox(self.sending.sender.name, self.sending.text_sender()),
                to=gateway_address(self.sending.sms_template, address), reply_to=None,
                subject="", text=text, html=None, message_id=identity, date=now, language=language,
            )  # fmt: skip
            return Composed(payload, identity, text, channel, contact_id, count(text).parts)
        reader = Reader(contact_id, address, str(context["person"]["name"]), self.words(language))
        entry = entry_for(unit, message, reader, shop=shop, organizer=self.sending.organizer, slot=context["slot"],
                          now=now)  # fmt: skip
        text = part("text")
        payload = compose_mail(
            sender=Mailbox(self.sending.sender.name or shop.name, self.sending.sender.address), to=address,
            reply_to=entry.organizer if entry else self.sending.reply_to or None, subject=part("subject"), text=text,
            html=part("html"), message_id=identity, date=now, language=language,
            invite=entry.octets if entry else None, method=entry.method if entry else None,
            answers=_answered_letter(unit, message),
            # RFC 8058 3.1 asks for https; on plain http in the shop the link in the text has to do.
            unsubscribe=stop_link if stop_link.startswith("https://") else None,
        )  # fmt: skip
        stamped = (entry.booking_id, entry.stamp) if entry else None
        return Composed(payload, identity, text, channel, contact_id, stamped=stamped)


def _answered_letter(unit: Unit, message: Message) -> str | None:
    """The Message-ID of the letter that this message answers by itself ("" for one without); None for any other."""
    if NOTICES[message.notice].purpose != ANSWER:
        return None
    return replies.get_reply(unit, str(message.refs["reply"])).letter_id

"""Reads the number and the text out of what a text message's payload holds, for transports that carry no mail."""

from __future__ import annotations

from dataclasses import dataclass, replace
from email import message_from_bytes, policy

from notify.channels.base import Outgoing, Receipt, Verdict, refusal
from notify.channels.sms_mailgate import PLACE, gateway_address
from notify.core.errors import Invalid

# The address of a number where no gateway has one: kept bytes are mail whatever the transport, so that another one
# may be set while messages wait. The domain belongs to nobody (RFC 2606 2).
NO_GATEWAY = PLACE + "@sms.invalid"


@dataclass(frozen=True, slots=True, repr=False)
class TextMessage:
    """One text for one number in E.164; `identity` is the same in every try and names nobody."""

    to: str
    text: str
    identity: str


def read_text_message(outgoing: Outgoing) -> TextMessage | Receipt:
    """The text message to hand over, or the receipt for one that no channel may hand over."""
    try:
        address = gateway_address(NO_GATEWAY, outgoing.to)
    except Invalid as error:
        return Receipt(Verdict.NEVER, "address", str(error))
    refused = refusal(replace(outgoing, to=address))
    if refused is not None:
        return refused
    text = _text_of(outgoing.payload)
    if not text.strip():
        return Receipt(Verdict.NEVER, "payload", "The message has no text.")
    return TextMessage(outgoing.to, text, identity_of(outgoing.message_id))


def identity_of(message_id: str) -> str:
    """The Message-ID without its brackets and domain: the reference that a gateway gives back in its receipts."""
    return message_id.strip("<>").partition("@")[0][:120]


def _text_of(payload: bytes) -> str:
    part = message_from_bytes(payload, policy=policy.SMTP).get_body(("plain",))
    try:
        text = part.get_content() if part is not None else ""
    except (LookupError, UnicodeError):
        return ""
    return str(text).replace("\r\n", "\n").removesuffix("\n")

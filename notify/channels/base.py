"""What every channel takes, answers and refuses, so that all of them refuse the same things."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

# RFC 5321 4.5.3.1.1 (local part 64 octets), 4.5.3.1.3 (path 256 with its brackets, so 254 for the address),
# 4.5.3.1.6 (a text line 1000 octets with its CRLF, hence 998 without).
LOCAL_LIMIT, ADDRESS_LIMIT, LINE_LIMIT = 64, 254, 998
TEXT_LIMIT = 200

_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_LABEL = r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
_PLAIN = re.compile(rf"({_ATOM}(?:\.{_ATOM})*)@{_LABEL}(?:\.{_LABEL})+")

_ANY_ADDRESS = re.compile(r"<?[^\s<>@,;:]+@[^\s<>@,;]+>?")
_LONG_NUMBER = re.compile(r"\+?\d(?:[ ()/-]?\d){6,}")
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
NOBODY = "<>"  # the null reverse-path of RFC 5321 4.5.5


class Verdict(Enum):
    """What became of one message, as far as the other side let us know."""

    ACCEPTED = "accepted"  # the other side took it over and answers for it from now on
    TRY_LATER = "try_later"  # not taken; the same bytes may be offered again
    NEVER = "never"  # not taken; offering this to this recipient again is pointless
    UNKNOWN = "unknown"  # the line broke after the final dot: perhaps taken, perhaps not (RFC 1047)


@dataclass(frozen=True, slots=True, repr=False)
class Outgoing:
    """One message for one recipient, ready to hand over.

    `payload` holds whole RFC 5322 bytes: ASCII only, every line ended by CRLF, at most 998 octets a line.
    `to` and `sender` are the envelope: one plain addr-spec each (`to` of the SMS gateway: one E.164 number). The
    sender NOBODY is for what answers a letter by itself (RFC 3834 3.3), so that nothing is sent back to it.
    `message_id` and `payload` stay the same in every try.
    """

    message_id: str
    to: str
    sender: str
    payload: bytes

    def __repr__(self) -> str:
        return f"Outgoing({len(self.payload)} octets)"  # addresses and texts must not reach a log


@dataclass(frozen=True, slots=True)
class Receipt:
    """The answer of a channel: a verdict, a short machine-readable code, and words without any address.

    `provider_id` is the other side's own name for the message, where it gives one (at most 120 characters).
    """

    verdict: Verdict
    code: str
    text: str = ""
    provider_id: str = ""


class Channel(Protocol):
    """A way out. Nothing that the other side does makes `send` raise.

    One that takes several messages at once, from as many threads, says so by `lines: int` (see lines_of).
    """

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """Offer the message once and say what became of it."""
        ...


def lines_of(channel: Channel) -> int:
    """How many messages the channel takes at once: its `lines`, and one if it names none."""
    return int(getattr(channel, "lines", 1))


def is_plain_address(text: str) -> bool:
    """True for exactly one ASCII dot-atom addr-spec with a dotted domain, and nothing around it."""
    found = _PLAIN.fullmatch(text) if len(text) <= ADDRESS_LIMIT else None
    return found is not None and len(found[1]) <= LOCAL_LIMIT


def refusal(outgoing: Outgoing) -> Receipt | None:
    """The receipt for a message that no channel may hand over, or None when it may go."""
    if not is_plain_address(outgoing.to):
        return Receipt(Verdict.NEVER, "address", "The recipient is not exactly one plain address.")
    if outgoing.sender != NOBODY and not is_plain_address(outgoing.sender):
        # The sender is a setting of the shop: cured there, everything that waited can still go.
        return Receipt(Verdict.TRY_LATER, "sender", "The sender in the settings is not one plain address.")
    if not outgoing.message_id or _UNPRINTABLE.search(outgoing.message_id):
        return Receipt(Verdict.NEVER, "message-id", "The message has no usable Message-ID.")
    fault = _payload_fault(outgoing.payload)
    return Receipt(Verdict.NEVER, "payload", fault) if fault else None


def _payload_fault(payload: bytes) -> str:
    if not payload.strip():
        return "The message is empty."
    if not payload.isascii() or b"\0" in payload:
        return "The message holds octets that are not plain ASCII text."
    # A lone CR or LF is how one message is smuggled inside another; RFC 5321 2.3.8 forbids sending it.
    pairs = payload.count(b"\r\n")
    if not pairs == payload.count(b"\r") == payload.count(b"\n") or not payload.endswith(b"\r\n"):
        return "The message has a line that does not end in CRLF."
    if max(map(len, payload.split(b"\r\n"))) > LINE_LIMIT:
        return "The message has a line longer than 998 octets."
    return ""


def clean(text: str, *, to: str = "") -> str:
    """The other side's words as one short line without addresses, long numbers or who `to` is."""
    line = _UNPRINTABLE.sub(" ", text)
    local = to.partition("@")[0]
    if to and _may_hold(line, to):
        line = re.sub(re.escape(to), "(address)", line, flags=re.IGNORECASE)
    line = _ANY_ADDRESS.sub("(address)", line) if "@" in line else line
    if len(local) > 1 and _may_hold(line, local):
        line = re.sub(rf"(?<!\w){re.escape(local)}(?!\w)", "(address)", line, flags=re.IGNORECASE)
    line = _LONG_NUMBER.sub("(number)", line)
    return " ".join(line.split())[:TEXT_LIMIT]


def _may_hold(line: str, word: str) -> bool:
    """Spares most answers a pattern of their own: making one takes twice as long as sending the message."""
    return not line.isascii() or word.lower() in line.lower()

"""The link that stops one kind of message to one person on one channel, from inside the mail and by one press.

RFC 8058 3.1: the address names the reader and the kind of mail by a part that is hard to forge. The token is the
person's identifier and a code for channel and purpose, with a keyed check over both; nothing about anybody stands
in it, and nothing has to be stored to recognise it.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
import uuid
from dataclasses import dataclass

from notify.core.errors import Invalid
from notify.core.notices import CONSENT_PURPOSES, REACH_CHANNELS

FIELD, VALUE = "List-Unsubscribe", "One-Click"  # RFC 8058 3.1 and 3.2: the name and the value of what is posted
_MARK = 10  # octets of the check: 80 bits
_LENGTH = 36  # signs: 16 + 10 + 1 octets in base64url. The code stands last, so that the last sign is a letter.
# Numbers are never given anew: a mail of years ago keeps its meaning.
_CODES = {("email", "afterwards"): 1, ("sms", "afterwards"): 2}


_IN_TEXT = re.compile(r"/u/[A-Za-z0-9_-]{36}(?![A-Za-z0-9_-])")


@dataclass(frozen=True, slots=True)
class Use:
    """One purpose of one channel to one person."""

    person_id: str
    channel: str
    purpose: str


def make_stop_token(use: Use, *, key: bytes) -> str:
    """36 signs of base64url. Raises Invalid for a use that needs no consent, or for what is no identifier."""
    if (use.channel, use.purpose) not in _CODES:
        raise Invalid(
            "This use of a channel is not stopped by a link",
            f"Purposes that are: {', '.join(CONSENT_PURPOSES)}; channels: {', '.join(REACH_CHANNELS)}.",
        )
    return _signed(_octets(use.person_id), _CODES[use.channel, use.purpose], key)


def read_stop_token(token: str, *, key: bytes) -> Use | None:
    """What the token stops; None for one that we did not make."""
    data = _decoded(token)
    which = next((pair for pair, code in _CODES.items() if data and data[-1] == code), None)
    if which is None or not hmac.compare_digest(token, _signed(data[:16], data[-1], key)):
        return None
    return Use(str(uuid.UUID(bytes=data[:16])), *which)


def hide_stop_links(text: str) -> str:
    """The text with every such token replaced by dots: staff who look at a mail must not press for the customer."""
    return _IN_TEXT.sub("/u/••••", text)


def _signed(name: bytes, code: int, key: bytes) -> str:
    check = hmac.new(key, b"one-click\0" + name + bytes([code]), hashlib.sha256).digest()[:_MARK]
    return base64.urlsafe_b64encode(name + check + bytes([code])).decode()


def _octets(person_id: str) -> bytes:
    try:
        return uuid.UUID(person_id).bytes
    except ValueError:
        raise Invalid("The person's identifier is none", "Give the one of the people's table.") from None


def _decoded(token: str) -> bytes:
    if len(token) != _LENGTH or not token.isascii():
        return b""
    try:
        return base64.b64decode(token, altchars=b"-_", validate=True)
    except (ValueError, binascii.Error):
        return b""

"""The envelope's return address: one per message and contact, so that a report about it names both.

The token is the message's identifier with a keyed check over message and contact: nothing has to be stored to
recognise it, and nobody without the key can make one for a message of ours.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import uuid

from notify.core.errors import Invalid

PLACE = "{token}"
_MARK = 10  # octets of the check: 80 bits
_LENGTH = 42  # letters: 16 + 10 octets in base32 without padding


def make_token(message_id: str, contact_id: str, *, key: bytes) -> str:
    """42 letters and digits, small, which no mail program changes. Raises Invalid for what is no identifier."""
    name = _octets(message_id)
    return base64.b32encode(name + _check(name, contact_id, key)).decode().rstrip("=").lower()


def read_token(token: str) -> str:
    """The message's identifier that a token names, not yet believed; empty for what is no token."""
    data = _decoded(token)
    return str(uuid.UUID(bytes=data[:16])) if data else ""


def is_ours(token: str, contact_id: str, *, key: bytes) -> bool:
    """Whether we made this token for its message and this contact."""
    data = _decoded(token)
    return bool(data) and hmac.compare_digest(data[16:], _check(data[:16], contact_id, key))


def fill(template: str, token: str) -> str:
    """The address of a token: `bounce-{token}@example.org` with it put in."""
    return template.replace(PLACE, token)


def find_token(template: str, address: str) -> str:
    """The token in an address made by `template`, in any case; empty when it is not one of them."""
    before, _, after = template.lower().partition(PLACE)
    given = address.strip().strip("<>").lower()
    if not (given.startswith(before) and given.endswith(after)) or len(given) != len(before) + len(after) + _LENGTH:
        return ""
    return given[len(before) : len(before) + _LENGTH]


def _octets(message_id: str) -> bytes:
    try:
        return uuid.UUID(message_id).bytes
    except ValueError:
        raise Invalid("The message's identifier is none", "Give the one of the outbox row.") from None


def _check(name: bytes, contact_id: str, key: bytes) -> bytes:
    return hmac.new(key, b"return-address\0" + name + contact_id.encode(), hashlib.sha256).digest()[:_MARK]


def _decoded(token: str) -> bytes:
    if len(token) != _LENGTH or not token.isascii():
        return b""
    try:
        return base64.b32decode(token.upper() + "=" * (-_LENGTH % 8))
    except ValueError:
        return b""

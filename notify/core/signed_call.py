"""Signed calls from system to system, as Standard Webhooks 1.0.0 says: an HMAC-SHA256 over id, time and body.

Source: github.com/standard-webhooks/standard-webhooks, spec/standard-webhooks.md, version 1.0.0. What it leaves open
and what holds here: a time may be 300 seconds off either way; an id has no full stop, as the text advises, since the
signed text is parted by them; a signature is compared as it is written, so that base64 has one spelling only.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
from collections.abc import Mapping, Sequence
from enum import StrEnum

from notify.core.errors import Invalid

ID, TIME, SIGNATURE = "webhook-id", "webhook-timestamp", "webhook-signature"
PREFIX, VERSION = "whsec_", "v1"
LEAST, MOST = 24, 64  # octets of a secret: 192 and 512 bits
TOLERANCE = 300  # seconds; our choice, the text says "some allowable tolerance"
MOST_SIGNATURES = 10
_ID = re.compile(r"[!-\-/-~]{1,200}")  # what can be seen in ASCII, without the full stop
_TIME = re.compile(r"[0-9]{1,12}")
_SIGNED = re.compile(r"[a-z0-9]{1,10},[A-Za-z0-9+/=_-]{1,200}")
_SECRET = re.compile(r"whsec_([A-Za-z0-9+/]+)={0,2}")


class Refusal(StrEnum):
    """Why a call is not taken. All but the two last are said in the same words to whoever calls."""

    MISSING = "missing"  # one of the three headers is not there
    ODD = "odd"  # one of them cannot have been written by a sender that follows the text
    FORGED = "forged"  # no signature fits
    OLD = "old"  # rightly signed, but its time is past
    EARLY = "early"  # rightly signed, but its time is yet to come


def new_secret(random: bytes) -> str:
    """The text of a secret of 24 to 64 octets that chance gave. Raises ValueError for another number of them."""
    if not LEAST <= len(random) <= MOST:
        raise ValueError("a secret has 24 to 64 octets")
    return PREFIX + base64.b64encode(random).decode()


def read_secret(text: str) -> bytes:
    """The octets of a secret written as `whsec_` and base64, padded or not. Raises Invalid, never quoting it."""
    found = _SECRET.fullmatch(text.strip())
    try:
        octets = base64.b64decode(found[1] + "=" * (-len(found[1]) % 4), validate=True) if found else b""
    except binascii.Error:
        octets = b""
    if not octets:
        raise Invalid("This is no key for signed calls", f'One begins with "{PREFIX}" and goes on in base64.')
    if not LEAST <= len(octets) <= MOST:
        raise Invalid(f"The key has {len(octets)} octets", f"It must have {LEAST} to {MOST} of them.")
    return octets


def sign(secret: bytes, call_id: str, at: int, body: bytes) -> str:
    """One signature, as it stands in the header; `at` in whole seconds since 1970 UTC."""
    return _mark(secret, call_id, str(at), body)


def headers(secrets: Sequence[bytes], call_id: str, at: int, body: bytes) -> dict[str, str]:
    """The three headers of a call; signed by every key that the other side may still know it by.

    Raises ValueError for an id that no receiver would take.
    """
    if not _ID.fullmatch(call_id):
        raise ValueError("the id of a call is seen in ASCII and holds no full stop")
    return {ID: call_id, TIME: str(at), SIGNATURE: " ".join(sign(one, call_id, at, body) for one in secrets)}


def verify(secrets: Sequence[bytes], told: Mapping[str, str], body: bytes, *, now: int) -> Refusal | None:
    """Why a call may not be taken, or None for one that comes from whoever knows one of the secrets.

    `told` holds the headers under their names in small letters, `body` the octets as they came. Every secret is tried
    against every signature, so that the time taken tells nothing; whether the time fits is asked of signed calls only.
    """
    call_id, at, given = (told.get(name, "") for name in (ID, TIME, SIGNATURE))
    if not (call_id and at and given):
        return Refusal.MISSING
    marks = given.split(" ")
    odd = not (_ID.fullmatch(call_id) and _TIME.fullmatch(at) and all(map(_SIGNED.fullmatch, marks)))
    if odd or len(marks) > MOST_SIGNATURES:
        return Refusal.ODD
    fits = 0
    for secret in secrets:
        wanted = _mark(secret, call_id, at, body).encode()
        fits += sum(hmac.compare_digest(wanted, mark.encode()) for mark in marks)
    return _by_time(int(at) - now) if fits else Refusal.FORGED


def _by_time(ahead: int) -> Refusal | None:
    if abs(ahead) <= TOLERANCE:
        return None
    return Refusal.EARLY if ahead > 0 else Refusal.OLD


def _mark(secret: bytes, call_id: str, at: str, body: bytes) -> str:
    signed = hmac.digest(secret, f"{call_id}.{at}.".encode() + body, hashlib.sha256)
    return f"{VERSION},{base64.b64encode(signed).decode()}"

"""Kinds of settings that describe a gateway for text messages: address, fields, words, the shape of a request."""

from __future__ import annotations

import ipaddress
import json
import re
from typing import Any
from urllib.parse import urlsplit

from notify.config.kinds import Kind, words
from notify.core.messages import Delivery

# What a request may carry, each put into its field whole: the number with its plus, its digits alone, the text,
# our name for the message (the same in every try), the address for receipts.
PLACES = ("{to}", "{digits}", "{text}", "{id}", "{callback}")
BAD_NUMBER = "bad_number"  # failed, and this number is not to be used again until somebody corrects it
STATE_WORDS = (*(word.value for word in Delivery), BAD_NUMBER)
ANSWER_WORDS = ("later", "never", BAD_NUMBER)
RECEIPT_FIELDS = ("id", "reference", "state", "code")
INBOUND_FIELDS = ("id", "sender", "text", "at")
# Our own to set, or secrets, which belong into a file (RFC 9110 6.6, 7.2, 11.6.2).
_NO_HEADERS = frozenset(
    "host content-length content-type transfer-encoding connection authorization proxy-authorization cookie te "
    "upgrade trailer expect".split()
)
_TOKEN = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]{1,60}")  # RFC 9110 5.6.2
_VALUE = re.compile(r"[\x21-\x7e](?:[\x20-\x7e]{0,300}[\x21-\x7e])?")
_POINTER = re.compile(r"(?:/(?:[^~/]|~[01])*)+|[^/~{}\x00-\x1f]{1,80}|")  # RFC 6901 3, or one field's plain name
_STATUS_OR_WORD = re.compile(r"[1-5]xx|[^\x00-\x1f]{1,80}")
LONGEST_BODY = 4000


def _address(value: object) -> str:
    if not isinstance(value, str) or not value.isascii() or any(ord(sign) <= 32 or ord(sign) == 127 for sign in value):
        raise ValueError
    if not value:
        return ""
    parts = urlsplit(value)
    _ = parts.port  # raises ValueError if it is none
    named = re.fullmatch(r"[a-z0-9](?:[a-z0-9.-]*[a-z0-9])?|[0-9a-f:.]+", parts.hostname or "")
    if parts.scheme not in ("http", "https") or not named or "@" in parts.netloc or "\\" in value or "#" in value:
        raise ValueError
    if _looks_like_number(parts.hostname or ""):
        ipaddress.ip_address(parts.hostname or "")  # 2130706433 and 0x7f.1 are numbers in disguise
    return value


def _looks_like_number(host: str) -> bool:
    """Whether the last label is a number, which no top-level domain is (WHATWG URL, "ends in a number")."""
    last = host.rstrip(".").rpartition(".")[2]
    return ":" in host or bool(re.fullmatch(r"[0-9]+|0x[0-9a-f]*", last))


def _body(value: object) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_BODY:
        raise ValueError
    if not value.strip():
        return ""
    try:
        told = json.loads(value)
    except RecursionError:
        raise ValueError from None
    leaves = list(texts_in(told))
    if not isinstance(told, dict) or not any("{text}" in one for one in leaves):
        raise ValueError
    if not any("{to}" in one or "{digits}" in one for one in leaves):
        raise ValueError
    if any(place not in PLACES for one in leaves for place in re.findall(r"\{[^{}]*\}?", one)):
        raise ValueError
    return value.strip()


def texts_in(told: Any) -> list[str]:
    """Every text among the values of a JSON document."""
    if isinstance(told, str):
        return [told]
    inner = told.values() if isinstance(told, dict) else told if isinstance(told, list) else ()
    return [text for one in inner for text in texts_in(one)]


def _statuses(value: object) -> tuple[int, ...]:
    if not isinstance(value, list) or not value or not all(type(one) is int and 200 <= one <= 299 for one in value):
        raise ValueError
    return tuple(value)


def _field(value: object) -> str:
    if not isinstance(value, str) or not _POINTER.fullmatch(value):
        raise ValueError
    return value


def _header_name(value: object) -> str:
    if not isinstance(value, str) or (value and not _TOKEN.fullmatch(value)):
        raise ValueError
    return value


def _headers(value: object) -> tuple[tuple[str, str], ...]:
    if not isinstance(value, dict) or len(value) > 20:
        raise ValueError
    for name, said in value.items():
        if not _TOKEN.fullmatch(name) or name.lower() in _NO_HEADERS:
            raise ValueError
        if not isinstance(said, str) or not _VALUE.fullmatch(said) or re.search(r"[{}]", said.replace("{id}", "")):
            raise ValueError
    return tuple(value.items())


def _fields(allowed: tuple[str, ...], needed: str) -> Kind:
    cure = f"Write a table of our words and the gateway's fields; ours are {', '.join(allowed)}."
    plain = words(allowed.__contains__, cure, of_keys=True)

    def read(value: object) -> tuple[tuple[str, str], ...]:
        pairs: tuple[tuple[str, str], ...] = plain.read(value)
        if any(not _POINTER.fullmatch(field) for _, field in pairs) or (pairs and needed not in dict(pairs)):
            raise ValueError
        return pairs

    return Kind("table", f"{cure} {needed.capitalize()} is needed.", read)


def _ours(allowed: tuple[str, ...]) -> Kind:
    cure = f"Write a table of the gateway's words and ours; ours are {', '.join(allowed)}."
    plain = words(allowed.__contains__, cure, of_keys=False)

    def read(value: object) -> tuple[tuple[str, str], ...]:
        pairs: tuple[tuple[str, str], ...] = plain.read(value)
        if any(not _STATUS_OR_WORD.fullmatch(theirs) for theirs, _ in pairs):
            raise ValueError
        return pairs

    return Kind("table", cure, read)


ADDRESS = Kind(
    "url",
    'Write the whole address in quotes, such as "https://gateway.example.org/send", without a name or password in it.',
    _address,
)
BODY = Kind(
    "json",
    "Write a JSON object in single quotes, with {text} and {to} or {digits}, such as "
    '\'{"to": "{to}", "text": "{text}"}\'; known places are ' + ", ".join(PLACES) + ".",
    _body,
)
STATUSES = Kind("statuses", "Write a list of HTTP statuses from 200 to 299, such as [200, 202].", _statuses)
FIELD = Kind("field", 'Write a JSON pointer such as "/result/id" (RFC 6901), or the name of one field.', _field)
HEADER = Kind("header", 'Write the name of an HTTP header in quotes, such as "X-Signature".', _header_name)
HEADERS = Kind(
    "table",
    "Write a table of header names and values; {id} may stand in a value. What signs in belongs into "
    "sms.http.secret_file.",
    _headers,
)
ANSWERS = _ours(ANSWER_WORDS)
STATES = _ours(STATE_WORDS)
RECEIPT = _fields(RECEIPT_FIELDS, "state")
INBOUND = _fields(INBOUND_FIELDS, "sender")

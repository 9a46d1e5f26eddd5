"""Finds a field in what another system sent, JSON or form, and never trusts its shape, size or depth."""

from __future__ import annotations

import json
import re
from typing import Any
from urllib.parse import parse_qsl

from jsonpointer import JsonPointerException, resolve_pointer

MOST_FIELDS = 200
LONGEST_VALUE = 10_000  # characters
_NOTHING = object()


class NotReadable(Exception):
    """The octets are not what the settings say they are."""


def read_fields(raw: bytes, *, form: str) -> Any:
    """A JSON document, or a form (application/x-www-form-urlencoded) as a table. Raises NotReadable."""
    try:
        text = raw.decode("utf-8-sig")
        if form == "form":
            return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="replace"))
        return json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):  # no UTF-8, no JSON, too many fields, a number of 5,000 digits, a deep nest
        raise NotReadable from None


def field(document: Any, where: str) -> str:
    """The text at a JSON pointer (RFC 6901), or under a plain name; "" where there is none or it is no text.

    Numbers come as written by JSON, true and false in small letters (so that `good_value = "true"` works).
    """
    if not where:
        return ""
    pointer = where if where.startswith("/") else "/" + where.replace("~", "~0")
    try:
        found = resolve_pointer(document, pointer, _NOTHING)
    except (JsonPointerException, TypeError, ValueError, KeyError, IndexError):
        return ""
    return _as_text(found)


def word(text: str, *, longest: int = 80) -> str:
    """One line of a foreign word, without control characters, at most so long."""
    return " ".join(re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+", " ", text).split())[:longest]


def _as_text(found: Any) -> str:
    if isinstance(found, str):
        return found[:LONGEST_VALUE].encode("utf-8", "replace").decode()  # JSON may hold half a character
    if isinstance(found, bool):
        return str(found).lower()
    return str(found)[:LONGEST_VALUE] if isinstance(found, (int, float)) else ""


def _no_constant(name: str) -> Any:
    raise ValueError(name)  # NaN and Infinity are not JSON (RFC 8259 6)

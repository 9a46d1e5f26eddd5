"""Typed text made safe to keep: one line or a block, bounded, without control characters or claim secrets."""

from __future__ import annotations

import unicodedata

from notify.core.claim_number import holds_token
from notify.core.errors import Invalid

LINE, BLOCK = 120, 4000
# Embeddings, overrides and isolates of Unicode's bidirectional algorithm (UAX #9, 2.1 to 2.5): one typed into a
# device's name turns the claim number behind it around. The marks that single letters need (2.6) stay.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean_line(text: str, *, field: str, limit: int = LINE) -> str:
    """One line: every run of white space becomes a space. Raises Invalid when too long or holding a claim secret."""
    return _bounded(" ".join(_plain(text).split()), field=field, limit=limit)


def clean_block(text: str, *, field: str, limit: int = BLOCK) -> str:
    """Several lines: line ends become LF, other control characters go. Raises Invalid as clean_line does."""
    lines = (" ".join(line.split()) for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n"))
    return _bounded(_plain("\n".join(lines)).strip(), field=field, limit=limit)


def _plain(text: str) -> str:
    composed = "".join(c for c in unicodedata.normalize("NFC", text) if c not in _TURNING)
    return "".join(c if c in "\n\t " or unicodedata.category(c) not in ("Cc", "Cs") else " " for c in composed)


def _bounded(text: str, *, field: str, limit: int) -> str:
    if len(text) > limit:
        raise Invalid(f"{_where(field)} is too long ({len(text)} characters)", f"At most {limit} fit.", field=field)
    if holds_token(text):
        raise Invalid(
            f"{_where(field)} holds a claim link, which opens the customer's page to anyone who reads it",
            "Scan claim tickets in the scan field only, and clear this field.",
            field=field,
        )
    return text


def _where(field: str) -> str:
    """The field as people say it: `said_by` and `device-0` are names of the form."""
    return f"The text for {field.partition('-')[0].replace('_', ' ')!r}" if field else "The text"

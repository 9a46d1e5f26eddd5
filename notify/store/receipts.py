"""Receipts: what a channel said about each try, and what was heard of it later."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.messages import Message

UNKNOWN_WORD = "word:"  # begins the code of a receipt whose word no setting explains
_RECEIPT = insert(s.receipts)


@dataclass(frozen=True, slots=True)
class Told:
    """What a channel said about one try."""

    message: Message
    verdict: str
    code: str
    text: str


def add_receipts(unit: Unit, tries: Sequence[Told], *, at: datetime) -> None:
    """Keeps what the channel said about each try."""
    rows = [
        {
            "shop_id": unit.shop_id,
            "id": unit.new_id(),
            "message_id": told.message.id,
            "at": at,
            "attempt": told.message.attempts + 1,
            "verdict": told.verdict,
            "code": told.code[:40],
            "text": told.text[:200],
        }
        for told in tries
    ]
    if rows:
        unit.connection.execute(_RECEIPT, rows)


def receipts_of(unit: Unit, message_id: str) -> tuple[Any, ...]:
    """What the channel said about each try, in order (at, attempt, verdict, code, text)."""
    t = s.receipts
    return tuple(
        unit.connection.execute(
            select(t).where(t.c.shop_id == unit.shop_id, t.c.message_id == message_id).order_by(t.c.attempt)
        )
    )


def unknown_words(unit: Unit) -> Mapping[str, int]:
    """A gateway's words that no setting explains -> of how many messages each was said."""
    t = s.receipts
    unexplained = (t.c.shop_id == unit.shop_id, t.c.code.startswith(UNKNOWN_WORD, autoescape=True))
    query = select(t.c.code, func.count()).where(*unexplained).group_by(t.c.code).order_by(t.c.code)
    return {row[0].removeprefix(UNKNOWN_WORD): row[1] for row in unit.connection.execute(query)}

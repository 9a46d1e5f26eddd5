"""What the shop's bell rang about, read back from the outbox."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import bindparam, literal, select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.messages import Message, as_message
from notify.store.statements import given, where

_T = s.messages
# In the statement itself, or SQLite would not use the index that holds the shop's own messages only.
_OWN = _T.c.person_id == literal("", literal_execute=True)
_NEWEST = (
    select(_T)
    .where(*where(_T), _OWN, _T.c.resend == 0, _T.c.created_at > bindparam("not_before"))
    .order_by(_T.c.seq.desc())
    .limit(bindparam("so_many"))
)


def rung_since(unit: Unit, moment: datetime, *, limit: int = 40) -> tuple[Message, ...]:
    """What was told to the shop since then, the newest first; what no way was set up for as well."""
    rows = unit.connection.execute(_NEWEST, {**given(unit), "not_before": moment, "so_many": limit})
    return tuple(as_message(row) for row in rows)

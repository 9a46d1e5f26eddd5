"""What tells whether a source shows something new: the digests of what was taken, and what waits for a person."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.doubts import OPEN
from notify.store.statements import among, given, is_in, where

_R, _D = s.taken_rows, s.doubts
_DIGESTS = select(_R.c.row_key, _R.c.digest).where(*where(_R, "source"), among(_R, "row_key"))
_WAITING = select(_D.c.row_key).where(*where(_D, "source"), among(_D, "row_key"), is_in(_D.c.state, OPEN))


def known_digests(unit: Unit, source: str, row_keys: Sequence[str]) -> dict[str, str]:
    """key -> the digest of what was last taken of it; but nothing for those about which something waits."""
    values = {**given(unit, source=source), "any_row_key": sorted(set(row_keys))}
    waiting = set(unit.connection.execute(_WAITING, values).scalars())
    rows = unit.connection.execute(_DIGESTS, values)
    return {row.row_key: row.digest for row in rows if row.row_key not in waiting}

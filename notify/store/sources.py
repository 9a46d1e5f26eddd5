"""What is known of sources: how each is doing, what its words mean, and what was taken from it already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import delete, insert, select, update

from notify.store import schema as s
from notify.store import shown
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import among, given, where

_R, _S, _F, _W = s.taken_rows, s.source_states, s.taken_files, s.source_words
_ROWS = select(_R).where(*where(_R, "source"), among(_R, "row_key"))
_STATE = select(_S).where(*where(_S, "source"))
_FILE = select(_F.c.digest).where(*where(_F, "source", "digest"))
_DROP_ROW = Prepared(delete(_R).where(*where(_R, "source", "row_key")))
_ADD_ROW = Prepared(insert(_R).inline())


@dataclass(frozen=True, slots=True)
class Row:
    """What was last taken of one thing that a source speaks of. `said` names its word for the phase."""

    row_key: str
    digest: str
    ticket_id: str
    at: datetime
    said: str = ""
    told_at: datetime | None = None
    version: str = ""


@dataclass(frozen=True, slots=True)
class State:
    """How a source is doing. `position` is what its own room remembers; counts are of all time."""

    source: str
    position: Mapping[str, Any] = field(default_factory=dict)
    looked_at: datetime | None = None
    well_at: datetime | None = None
    trouble: str = ""
    trouble_since: datetime | None = None
    taken: int = 0
    doubted: int = 0
    stale: int = 0


def state(unit: Unit, source: str) -> State:
    """How a source is doing; an empty one for a source that was never looked at."""
    row = unit.connection.execute(_STATE, given(unit, source=source)).first()
    return _state(row) if row else State(source)


def states(unit: Unit) -> Mapping[str, State]:
    """source -> how it is doing, for all that were ever looked at."""
    rows = unit.connection.execute(select(_S).where(_S.c.shop_id == unit.shop_id))
    return {row.source: _state(row) for row in rows}


def put_state(unit: Unit, source: str, **columns: Any) -> None:
    """Writes these columns of a source's state; makes the state when there is none. Sheets show its trouble only."""
    if "trouble" in columns and state(unit, source).trouble != columns["trouble"]:
        shown.changed(unit.connection)
    changed = update(_S).where(_S.c.shop_id == unit.shop_id, _S.c.source == source).values(**columns)
    if not unit.connection.execute(changed).rowcount:
        first: dict[str, Any] = {"position": {}, "trouble": ""}
        unit.connection.execute(insert(_S).values(shop_id=unit.shop_id, source=source, **(first | columns)))


def count(unit: Unit, source: str, *, taken: int, doubted: int, stale: int) -> None:
    """Adds to the counts of a source."""
    if not (taken or doubted or stale):
        return
    more = {"taken": _S.c.taken + taken, "doubted": _S.c.doubted + doubted, "stale": _S.c.stale + stale}
    changed = update(_S).where(_S.c.shop_id == unit.shop_id, _S.c.source == source).values(**more)
    if not unit.connection.execute(changed).rowcount:
        put_state(unit, source, taken=taken, doubted=doubted, stale=stale)


def file_known(unit: Unit, source: str, digest: str) -> bool:
    """Whether this very file was taken from this source before."""
    return unit.connection.execute(_FILE, given(unit, source=source, digest=digest)).first() is not None


def add_file(unit: Unit, source: str, digest: str, *, at: datetime, taken: int, refused: int) -> None:
    """Notes that a file was taken, with how many lines were and were not."""
    unit.connection.execute(
        insert(_F).values(shop_id=unit.shop_id, source=source, digest=digest, at=at, taken=taken, refused=refused)
    )


def rows(unit: Unit, source: str, row_keys: Iterable[str]) -> dict[str, Row]:
    """key -> what was last taken of it, for those of which anything was."""
    keys = sorted(set(row_keys))
    found = unit.connection.execute(_ROWS, {**given(unit, source=source), "any_row_key": keys}) if keys else ()
    return {
        row.row_key: Row(row.row_key, row.digest, row.ticket_id, row.at, row.said, row.told_at, row.version)
        for row in found
    }


def put_rows(unit: Unit, source: str, changed: Sequence[Row]) -> None:
    """Remembers what was last taken; one row a key."""
    if not changed:
        return
    _DROP_ROW.write_all(unit.connection, [given(unit, source=source, row_key=row.row_key) for row in changed])
    _ADD_ROW.write_all(unit.connection, [
        {"shop_id": unit.shop_id, "source": source, "row_key": row.row_key, "digest": row.digest,
         "ticket_id": row.ticket_id, "at": row.at, "said": row.said, "told_at": row.told_at, "version": row.version}
        for row in changed
    ])  # fmt: skip


def words(unit: Unit, source: str) -> Mapping[tuple[str, str], str]:
    """(kind, word in small letters) -> ours: what people here said that words of this source mean."""
    found = unit.connection.execute(select(_W).where(_W.c.shop_id == unit.shop_id, _W.c.source == source))
    return {(row.kind, row.word): row.ours for row in found}


def put_word(
    unit: Unit, source: str, *, kind: str, word: str, ours: str, at: datetime, staff_id: str | None
) -> None:  # fmt: skip
    """Keeps what a word means; a newer meaning takes the place of an older one."""
    drop_word(unit, source, kind=kind, word=word)
    unit.connection.execute(
        insert(_W).values(
            shop_id=unit.shop_id, source=source, kind=kind, word=word, ours=ours, at=at, staff_id=staff_id
        )
    )


def drop_word(unit: Unit, source: str, *, kind: str, word: str) -> bool:
    """Forgets what people here said that a word means; whether there was anything."""
    same = (_W.c.shop_id == unit.shop_id, _W.c.source == source, _W.c.kind == kind, _W.c.word == word)
    return bool(unit.connection.execute(delete(_W).where(*same)).rowcount)


def _state(row: Any) -> State:
    return State(
        row.source, row.position, row.looked_at, row.well_at, row.trouble, row.trouble_since, row.taken, row.doubted,
        row.stale,
    )  # fmt: skip

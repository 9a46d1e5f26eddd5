"""Doubts: what a source told and a person has to decide about. Its cells are sealed until it is settled, then gone."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, bindparam, delete, func, insert, select, update

from notify.core.errors import NotFound
from notify.core.sources import Doubt
from notify.store import schema as s
from notify.store import statements
from notify.store.database import Unit
from notify.store.listed import listed
from notify.store.prepared import Prepared
from notify.store.statements import among, given, is_in, where

OPEN, SETTLED, OVERTAKEN = "open", "settled", "overtaken"
_T = s.doubts
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
_ADD = insert(_T).values(seq=_NEXT)
_SETTLE_THEIRS = Prepared(
    update(_T)
    .where(*where(_T), listed(_T.c.ticket_id, "tickets"), listed(_T.c.sealed_for, "people"), is_in(_T.c.state, OPEN))
    .values(state=SETTLED, settled_how="forgotten", settled_at=bindparam("now"))
)
_OPEN_OF = select(_T).where(*where(_T, "source"), among(_T, "row_key"), is_in(_T.c.state, OPEN))


@dataclass(frozen=True, slots=True, repr=False)
class Stored:
    """One doubt, opened. `cells` by our words (empty once settled); `reason` in words; `key` names what it speaks of.
    `field` is the cell that the reason is about, by our word for it.

    `since`: when the source had been looked at before it said this; `told_at`: its own time, if it gave one.
    """

    id: str
    seq: int
    source: str
    row_key: str
    line: int
    kind: Doubt
    state: str
    cells: Mapping[str, str]
    key: str
    reason: str
    field: str
    digest: str
    ticket_id: str
    told_at: datetime | None
    since: datetime | None
    seen_at: datetime
    settled_at: datetime | None
    settled_how: str
    staff_id: str


def day_key(unit: Unit, source: str, day: date) -> str:
    """The name of the key under which that day's doubts of a source are sealed, of people who are not known here.

    One for all of them: a hundred thousand rows at once must not mean as many keys. It goes when their time is over.
    """
    name = f"{unit.shop_id}\0{source}\0{day.isoformat()}"
    return hashlib.sha256(name.encode()).hexdigest()[:36]


def add(
    unit: Unit, *, source: str, row_key: str, line: int, doubt: Doubt, sealed_for: str, cells: Mapping[str, str],
    key: str, reason: str, field: str, digest: str, ticket_id: str, told_at: datetime | None, since: datetime | None,
    seen_at: datetime,
) -> str:  # fmt: skip
    """Keeps an open doubt; its identifier. There must be none open of that key, and a data key named `sealed_for`."""
    new = unit.new_id()
    whole = json.dumps({"cells": dict(cells), "key": key, "reason": reason, "field": field}, ensure_ascii=False)
    values = {
        "shop_id": unit.shop_id, "id": new, "source": source, "row_key": row_key, "line": line, "kind": doubt.value,
        "state": OPEN, "sealed_for": sealed_for, "cells_sealed": unit.seal(sealed_for, "doubts", new, "cells", whole),
        "digest": digest, "ticket_id": ticket_id or None, "told_at": told_at, "since": since, "seen_at": seen_at,
        "settled_how": "",
    }  # fmt: skip
    unit.connection.execute(_ADD, {**given(unit), **values})
    return new


def open_of(unit: Unit, source: str, row_keys: Iterable[str]) -> dict[str, Stored]:
    """key -> the open doubt about it, for those about which one is open."""
    keys = sorted(set(row_keys))
    found = unit.connection.execute(_OPEN_OF, {**given(unit, source=source), "any_row_key": keys}) if keys else ()
    return {row.row_key: _stored(unit, row) for row in found}


def get(unit: Unit, doubt_id: str) -> Stored:
    """One doubt; raises NotFound."""
    row = unit.connection.execute(select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == doubt_id)).first()
    if row is None:
        raise NotFound("There is no such change here", "Look at the list of sources.")
    return _stored(unit, row)


def ids_beginning(unit: Unit, beginning: str) -> tuple[str, ...]:
    """The identifiers that begin so (statements.ids_beginning)."""
    return statements.ids_beginning(unit, _T, beginning)


def list_open(
    unit: Unit, *, source: str = "", kind: str = "", behind: int = 0, limit: int = 100
) -> tuple[Stored, ...]:  # fmt: skip
    """Open doubts, the oldest first, those with a number above `behind`."""
    which = [_T.c.shop_id == unit.shop_id, is_in(_T.c.state, OPEN), _T.c.seq > behind]
    which += [_T.c.source == source] if source else []
    which += [_T.c.kind == kind] if kind else []
    rows = unit.connection.execute(select(_T).where(*which).order_by(_T.c.seq).limit(limit)).all()
    unit.opener.fetch({row.sealed_for for row in rows})
    return tuple(_stored(unit, row) for row in rows)


def count_open(unit: Unit) -> Mapping[str, Mapping[str, int]]:
    """source -> kind -> how many wait."""
    rows = unit.connection.execute(
        select(_T.c.source, _T.c.kind, func.count())
        .where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, OPEN))
        .group_by(_T.c.source, _T.c.kind)
    )
    out: dict[str, dict[str, int]] = {}
    for source, kind, number in rows:
        out.setdefault(source, {})[kind] = int(number)
    return out


def settle(
    unit: Unit, doubt_id: str, *, how: str, at: datetime, staff_id: str | None = None, state: str = SETTLED,
    ticket_id: str = "",
) -> bool:  # fmt: skip
    """Ends an open doubt and empties its cells; False when somebody had before."""
    changed: dict[str, Any] = {
        "state": state, "settled_how": how, "settled_at": at, "staff_id": staff_id, "cells_sealed": None,
    }  # fmt: skip
    if ticket_id:
        changed["ticket_id"] = ticket_id
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == doubt_id, _T.c.state == OPEN)
    return bool(unit.connection.execute(update(_T).where(*same).values(changed)).rowcount)


def settle_of_forgotten(unit: Unit, person_ids: Sequence[str], ticket_ids: Sequence[str], *, at: datetime) -> None:
    """Nobody decides any more about what a source told of somebody who is forgotten; of these tickets of theirs."""
    _SETTLE_THEIRS.write(unit.connection, {**given(unit), "people": person_ids, "tickets": ticket_ids, "now": at})


def strangers_before(unit: Unit, source: str, before: datetime) -> tuple[str, ...]:
    """The names of the keys of days whose doubts of this source were all seen before that instant."""
    which = _of_strangers(unit, source)
    query = select(_T.c.sealed_for).where(*which).group_by(_T.c.sealed_for).having(func.max(_T.c.seen_at) < before)
    return tuple(unit.connection.execute(query).scalars())


def sources_known(unit: Unit) -> tuple[str, ...]:
    """Every source of which a doubt is kept."""
    return tuple(unit.connection.execute(select(_T.c.source).where(_T.c.shop_id == unit.shop_id).distinct()).scalars())


def drop(unit: Unit, source: str, keys: Sequence[str]) -> int:
    """Overwrites and removes the doubts sealed under these keys, which were destroyed before; how many."""
    which, told = (*_of_strangers(unit, source), listed(_T.c.sealed_for, "keys")), {"keys": keys}
    unit.connection.execute(update(_T).where(*which).values(cells_sealed=None), told)
    return unit.connection.execute(delete(_T).where(*which), told).rowcount


def drop_ended(unit: Unit, source: str, before: datetime) -> int:
    """Removes the doubts of this source that were settled before that instant; how many."""
    which = (_T.c.shop_id == unit.shop_id, _T.c.source == source, _T.c.settled_at < before)
    return unit.connection.execute(delete(_T).where(*which)).rowcount


def _of_strangers(unit: Unit, source: str) -> tuple[ColumnElement[bool], ...]:
    """Those that are sealed under no person's key."""
    of_a_person = select(s.people.c.id).where(s.people.c.shop_id == unit.shop_id, s.people.c.id == _T.c.sealed_for)
    return (_T.c.shop_id == unit.shop_id, _T.c.source == source, ~of_a_person.exists())


def _stored(unit: Unit, row: Any) -> Stored:
    whole = _opened(unit, row)
    return Stored(
        row.id, row.seq, row.source, row.row_key, row.line, Doubt(row.kind), row.state, whole.get("cells", {}),
        whole.get("key", ""), whole.get("reason", ""), whole.get("field", ""), row.digest, row.ticket_id or "",
        row.told_at, row.since, row.seen_at, row.settled_at, row.settled_how, row.staff_id or "",
    )  # fmt: skip


def _opened(unit: Unit, row: Any) -> dict[str, Any]:
    """Nothing of what was emptied, or whose key is gone: its row may not have been overwritten yet."""
    try:
        text = unit.open(row.sealed_for, "doubts", row.id, "cells", row.cells_sealed)
    except NotFound:
        return {}
    found: dict[str, Any] = json.loads(text) if text else {}
    return found

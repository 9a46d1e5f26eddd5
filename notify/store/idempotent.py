"""Keys of requests already carried out, so that a double click or a retry does a thing once."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, insert, select, update

from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import given, where

_T = s.idempotency
_RECALL = select(_T.c.result).where(*where(_T), _T.c.key == bindparam("the_key"))
_KEEP = insert(_T)


def recall(unit: Unit, key: str) -> Any:
    """The result kept under `key`, or None."""
    return unit.connection.execute(_RECALL, given(unit, key=_fitted(key))).scalar()


def keep(unit: Unit, key: str, result: Mapping[str, Any], *, at: datetime) -> None:
    """Keeps the result (identifiers only) under `key`."""
    unit.connection.execute(_KEEP, {"shop_id": unit.shop_id, "key": _fitted(key), "result": dict(result), "at": at})


def add_answer(unit: Unit, key: str, answer: Mapping[str, Any]) -> None:
    """Keeps the answer (identifiers and codes only) that a request under `key` was given."""
    known = recall(unit, key)
    if known is not None:
        same = (_T.c.shop_id == unit.shop_id, _T.c.key == _fitted(key))
        unit.connection.execute(update(_T).where(*same).values(result={**known, "answer": dict(answer)}))


def forget_before(unit: Unit, prefix: str, moment: datetime) -> int:
    """Drops keys that begin so and were kept before that instant; how many."""
    old = (_T.c.shop_id == unit.shop_id, _T.c.key.startswith(prefix, autoescape=True), _T.c.at < moment)
    return unit.connection.execute(delete(_T).where(*old)).rowcount


def _fitted(key: str) -> str:
    """Cutting a long key would make two of them equal; its hash keeps them apart."""
    return key if len(key) <= 80 else hashlib.sha256(key.encode()).hexdigest()

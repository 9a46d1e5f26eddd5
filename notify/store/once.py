"""A database in which the first transaction that writes also keeps a key, so that a repeated request does nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from notify.store import idempotent
from notify.store.database import Database, Unit


class OnceDatabase(Database):
    """The same database for one request with an idempotency key. The key is kept in the transaction that acts."""

    def __init__(self, database: Database, key: str, *, mark: str, at: datetime) -> None:
        """`mark` tells what was asked for; it is kept under `key` with the first thing that is written."""
        vars(self).update(vars(database))
        self._key, self._mark, self._at, self.is_kept = key, mark, at, False

    @contextmanager
    def write(self, shop_id: str) -> Iterator[Unit]:
        """As that of Database. Raises Repeated when the key is known already; then nothing is written."""
        with super().write(shop_id) as unit:
            if not self.is_kept:
                if (known := idempotent.recall(unit, self._key)) is not None:
                    raise Repeated(known)
                idempotent.keep(unit, self._key, {"mark": self._mark}, at=self._at)
            yield unit
        self.is_kept = True


class Repeated(Exception):
    """A request was carried out before; `known` is what was kept of it."""

    def __init__(self, known: dict[str, object]) -> None:
        super().__init__("this request was carried out before")
        self.known = known

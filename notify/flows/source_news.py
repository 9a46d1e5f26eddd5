"""Which of the rows that a source shows are news: looked up without writing, before anything is taken."""

from __future__ import annotations

from collections.abc import Sequence

from notify.core.sources import Batch, Change
from notify.flows.context import Context
from notify.flows.heard import digest_of, row_key
from notify.store.source_news import known_digests


def news(ctx: Context, shop_id: str, batch: Batch, changes: Sequence[Change]) -> list[Change]:
    """Those that differ from what was last taken of the same thing, or of which something waits for a person.

    A source that shows the same rows at each look costs the reading of two indexes, and holds up nobody who writes.
    """
    if not changes:
        return []
    mark = ctx.db.vault.row_mark
    keys = [row_key(batch, change, mark) for change in changes]
    with ctx.db.read(shop_id) as unit:
        known = known_digests(unit, batch.source, keys)
    return [change for key, change in zip(keys, changes, strict=True) if known.get(key) != digest_of(change, mark)]

"""What counts of a person's words, asked of the standard library's SQLite: a second derivation beside core/consent."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

_LAST = """
select channel, purpose, allowed from said as one
where not exists (select 1 from said as later where later.n > one.n
                  and later.channel = one.channel and later.purpose = one.purpose)"""


def said_last(rows: Iterable[tuple[str, str, bool]]) -> dict[tuple[str, str], bool]:
    """(channel, purpose) -> allowed, by the row with no later one."""
    line = sqlite3.connect(":memory:")
    line.execute("create table said (n integer primary key, channel text, purpose text, allowed integer)")
    line.executemany("insert into said (channel, purpose, allowed) values (?, ?, ?)", list(rows))
    found = {(channel, purpose): bool(allowed) for channel, purpose, allowed in line.execute(_LAST)}
    line.close()
    return found

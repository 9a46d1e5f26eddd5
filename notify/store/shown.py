"""A stamp of all that staff may see, another one after every transaction that changed any of it.

No sheet has to know what it hangs on, so none can forget anything: what counts are the tables that were written, and
every table is shown unless it stands in UNSEEN. The stamp is raised by the last statement before the commit, so that
who reads it finds it with what it stands for, and no writer waits for another while it holds the row.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Engine, event

from notify.store import schema as s

# Written beside every sheet, and shown on none.
UNSEEN = frozenset(
    table.name
    for table in (
        s.shown_stamps, s.sessions, s.throttles, s.job_runs, s.idempotency, s.taken_letters, s.taken_files,
        s.taken_rows, s.source_states, s.contact_reads, s.clock_trails, s.lost_requests, s.listeners,
        s.refused_events, s.api_tokens, s.feeds,
    )
)  # fmt: skip
_MARK = "shelfbell.shown"
_AFTER = {"INSERT": "INTO", "DELETE": "FROM", "UPDATE": "UPDATE"}
_RAISE = (
    "insert into shown_stamps (shop_id, stamp) values ({}, 1) "
    "on conflict (shop_id) do update set stamp = shown_stamps.stamp + 1"
)
_PLACES = {"sqlite": "?", "postgresql": "%s"}  # as the drivers write them: this runs in every transaction that writes


def keep_stamps(engine: Engine) -> None:
    """From now on every connection of this engine remembers whether it wrote what is shown."""
    event.listen(engine, "before_cursor_execute", _look)


def begin(connection: Connection) -> None:
    """A new transaction: nothing is changed yet."""
    connection.info.pop(_MARK, None)


def changed(connection: Connection) -> None:
    """What is shown changes although the tables written do not say so."""
    connection.info[_MARK] = True


def end(connection: Connection, shop_id: str) -> None:
    """Just before the commit: raises the shop's stamp if anything was written that is shown."""
    if connection.info.pop(_MARK, False) and connection.in_transaction():  # else its writer took it back
        connection.exec_driver_sql(_RAISE.format(_PLACES[connection.dialect.name]), (shop_id,))


def _look(connection: Connection, _cursor: Any, statement: str, *_: Any) -> None:
    if statement[0] not in "Ss" and shows(statement):
        changed(connection)


@lru_cache(maxsize=2048)
def shows(statement: str) -> bool:
    """Whether a statement writes a table that is shown; one that cannot be told apart counts as one that does."""
    words = statement.split(None, 5)
    kind = words[0].upper()
    if kind not in _AFTER:
        return kind in ("WITH", "REPLACE", "MERGE")
    at = next((n for n, word in enumerate(words) if word.upper() == _AFTER[kind]), None)
    return at is None or words[at + 1].strip('"(') not in UNSEEN

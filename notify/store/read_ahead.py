"""Reads what a group of messages needs in a few statements instead of a dozen for each message."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Select, select

from notify.store import bookings, messages, people
from notify.store import schema as s
from notify.store import visits as visit_rows
from notify.store.database import Unit
from notify.store.statements import among, given, where

_TICKETS = (
    select(s.tickets)
    .where(*where(s.tickets), among(s.tickets, "visit_id"))
    .order_by(s.tickets.c.created_at, s.tickets.c.number)
)
_PEOPLE = select(s.people).where(*where(s.people), among(s.people, "id"))


def read_ahead(
    unit: Unit, *, visit_ids: Iterable[str], person_ids: Iterable[str], message_ids: Iterable[str] = ()
) -> None:
    """Reads these visits with people, tickets, booking and messages, and these people with contacts, uses and keys.

    Of the messages `message_ids` the stored bytes as well.

    From here on the unit remembers what it has read, so it must not change any of it: it is for a transaction
    that looks at facts and writes nothing but what it will send.
    """
    visits = list(dict.fromkeys(visit_ids))
    company = _rows(unit, visit_rows.COMPANY, "id", visits)
    folk = list(dict.fromkeys([*person_ids, *(row.person_id for row in company)]))
    tickets = _rows(unit, _TICKETS, "visit_id", visits)
    known: dict[tuple[str, str], Any] = {}
    known |= {("recipient", one.person_id): one for one in people.recipients(unit, folk)}
    known |= {("ticket", row.id): row for row in tickets}
    known |= {("person", row.id): row for row in _rows(unit, _PEOPLE, "id", folk)}
    known |= _grouped("company", visits, company, "visit_id")
    known |= _grouped("tickets_of_visit", visits, tickets, "visit_id")
    known |= _grouped("contacts", folk, _rows(unit, people.CONTACTS_AMONG, "person_id", folk), "person_id")
    known |= _grouped("live_booking", visits, _rows(unit, bookings.LIVE, "visit_id", visits), "visit_id")
    known |= _grouped("alike", visits, _rows(unit, messages.ALIKE, "visit_id", visits), "visit_id")
    if composed := list(message_ids):
        rows = _rows(unit, messages.BYTES_OF, "id", composed)
        known |= {("bytes", row.id): row.bytes_sealed for row in rows}
    unit.opener.fetch(folk)
    unit.known = known


def _rows(unit: Unit, statement: Select[Any], column: str, values: Sequence[str]) -> Sequence[Any]:
    return unit.connection.execute(statement, {**given(unit), f"any_{column}": values}).all()


def _grouped(name: str, keys: Sequence[str], rows: Sequence[Any], column: str) -> dict[tuple[str, str], list[Any]]:
    groups: dict[tuple[str, str], list[Any]] = {(name, key): [] for key in keys}
    for row in rows:
        groups[name, getattr(row, column)].append(row)
    return groups

"""Everything that is held about one person, row by row, opened: which table, by which column, and what stays unsaid.

`PLACES` is the whole list. A table that names a person and does not stand in it, or in `LEFT_OUT` with its reason, is
a fault that tests/flows/test_held_about.py finds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import Table, select

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit

Row = dict[str, Any]
_OPENS = "it opens something; whoever should have it has it"
_INDEX = "a keyed hash of the address that stands beside it"
_STAFF = "who of the staff: the shop answers for them"


@dataclass(frozen=True, slots=True)
class Place:
    """One table: the column that names the person, the columns that are told in clear, and those that are opened.

    `hidden` are sealed or secret columns that are not told, each with the reason. Sealed columns are opened with the
    key that `owner` names unless `key` names another column.
    """

    table: Table
    owner: str
    clear: tuple[str, ...]
    opened: tuple[str, ...] = ()
    hidden: Mapping[str, str] = field(default_factory=dict)


# Group -> where it is read. Visits, tickets and messages are named by their claim number and notice, not by our ids.
PLACES: dict[str, Place] = {
    "person": Place(s.people, "id", ("language", "child", "created_at", "told_at"), ("name",)),
    "contacts": Place(
        s.contacts, "person_id",
        ("channel", "in_repaired_device", "undeliverable_at", "undeliverable_why", "suppressed_at",
         "suppressed_how", "created_at", "replaced_at"),
        ("address",), {"lookup": _INDEX, "lookup_key": _INDEX},
    ),
    "consents": Place(
        s.consents, "person_id",
        ("channel", "purpose", "allowed", "basis", "wording", "language", "how", "at"), (),
        {"lookup": _INDEX, "staff_id": _STAFF},
    ),
    "visits": Place(s.visit_people, "person_id", ("visit_id", "role")),
    "tickets": Place(
        s.tickets, "person_id",
        ("visit_id", "number", "device_class", "phase", "outcome", "reason", "price_agreed", "price_limit", "deposit",
         "paid", "shelf", "safety", "promise_at", "worked_seconds", "created_at", "phase_since"),
        ("device", "fault", "condition", "accessories"),
        {"token": _OPENS, "token_hash": _OPENS, "technician_id": _STAFF},
    ),
    "notes": Place(s.notes, "person_id", ("ticket_id", "at"), ("text",), {"staff_id": _STAFF}),
    "questions": Place(
        s.questions, "person_id",
        ("ticket_id", "kind", "price", "state", "answer", "asked_at", "expires_at", "answered_at", "answered_how"),
        ("wording", "said_by"), {"staff_id": _STAFF},
    ),
    "parts": Place(
        s.parts, "person_id", ("ticket_id", "label", "state", "needed_at", "ordered_at", "due_at", "arrived_at",
                               "ended_at"),
        ("name",),
    ),
    "pickups": Place(
        s.bookings, "person_id", ("visit_id", "start_at", "end_at", "state", "partstat", "made_at", "changed_at"), (),
        {"uid": _OPENS, "organizer_token": _OPENS},
    ),
    "replies": Place(
        s.replies, "person_id", ("visit_id", "ticket_id", "channel", "kind", "at", "taken_at", "seen_at"),
        ("sender", "subject", "text", "letter_id"), {"staff_id": _STAFF},
    ),
    "passes_given": Place(
        s.passes, "given_by", ("visit_id", "person_id", "state", "made_at", "confirmed_at", "expires_at", "ended_at"),
        (), {"hash": _OPENS, "staff_id": _STAFF},
    ),
    "passes_held": Place(
        s.passes, "person_id", ("visit_id", "state", "made_at", "confirmed_at", "expires_at", "ended_at"), (),
        {"hash": _OPENS, "staff_id": _STAFF, "given_by": "whoever gave it: their data, not the bearer's"},
    ),
    "codes_sent": Place(
        s.contact_codes, "person_id", ("visit_id", "purpose", "made_at", "expires_at", "used_at"), (),
        {"code": _OPENS, "hash": _OPENS},
    ),
    "told_by_other_systems": Place(
        s.doubts, "sealed_for",
        ("source", "line", "kind", "state", "told_at", "seen_at", "settled_at", "settled_how"), ("cells",),
    ),
    "requests": Place(
        s.requests, "person_id",
        ("kind", "state", "how", "received_at", "proved_at", "due_on", "extended_to", "reason", "ended_at",
         "lifted_at"), ("note",),
        {"staff_id": _STAFF},
    ),
    "holds": Place(
        s.data_holds, "person_id", ("reason", "made_at", "review_on", "ended_at"), ("note",), {"staff_id": _STAFF},
    ),
    "looked_at": Place(
        s.contact_reads, "person_id", ("reader_kind", "place", "at", "last_at", "times"), (), {"reader_id": _STAFF},
    ),
}  # fmt: skip
# Tables with sealed columns, or columns of people, that hold nothing about a customer.
LEFT_OUT: dict[str, str] = {
    "staff": "who works here is no customer",
    "listeners": "addresses of the shop's own systems",
    "pad_tickets": "printed in advance; what is entered stands with its ticket",
}


def read_group(unit: Unit, group: str, person_id: str) -> list[Row]:
    """Every row of this person in one group of PLACES, its sealed texts opened; times and days as ISO 8601."""
    place = PLACES[group]
    table = place.table
    order = [c for c in (table.c.get("at"), table.c.get("made_at"), table.c.get("created_at")) if c is not None]
    query = select(table).where(table.c.shop_id == unit.shop_id, table.c[place.owner] == person_id).order_by(*order[:1])
    return [_row(unit, place, row, person_id) for row in unit.connection.execute(query).mappings()]


def _row(unit: Unit, place: Place, row: Any, person_id: str) -> Row:
    said = {name: _plain(row[name]) for name in place.clear}
    key = row.get("sealed_for", person_id)
    opened = {name: unit.open(key, place.table.name, row["id"], name, row[f"{name}_sealed"]) for name in place.opened}
    return {**said, **opened}


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime | date) else value


def needs_key(unit: Unit, person_id: str) -> None:
    """Raises NotFound once the person was forgotten, or is unknown here."""
    p = s.people
    row = unit.connection.execute(
        select(p.c.forgotten_at).where(p.c.shop_id == unit.shop_id, p.c.id == person_id)
    ).first()
    if row is None:
        raise NotFound("There is no such person", "Look the ticket up again.")
    if row.forgotten_at is not None:
        raise NotFound("This person was forgotten", "Nothing is held about them any more.")
    unit.vault.data_key(person_id)  # destroyed before the rows are emptied


def wordings_shown(unit: Unit, codes: Iterable[tuple[str, str]]) -> Mapping[tuple[str, str], str]:
    """(wording, language) -> the very words, as far as they were kept."""
    t, wanted = s.wordings, set(codes)
    rows = unit.connection.execute(select(t.c.wording, t.c.language, t.c.text).where(t.c.shop_id == unit.shop_id))
    return {(row.wording, row.language): row.text for row in rows if (row.wording, row.language) in wanted}


def message_ids(unit: Unit, person_id: str) -> tuple[str, ...]:
    """The messages that were planned for this person, oldest first; none that went to somebody else."""
    t = s.messages
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.person_id == person_id).order_by(t.c.seq)
    return tuple(unit.connection.execute(query).scalars())

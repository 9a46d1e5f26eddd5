"""Notes who looks at an address or number in clear, and shows the owner who did.

Looking changes nothing that anybody sees: a log of reading is no change of state in the sense of RFC 9110, 9.2.1. A
look that cannot be noted is not given.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.claim_number import parse_number, show_number
from notify.core.errors import NotFound
from notify.flows.context import Context
from notify.store import api_tokens, contact_reads, keeping, people, staff, tickets, visits

Seen = tuple[str, str | None]  # a person, and which contact of theirs when that is known
# Where contacts are seen in clear, by the code that stands in the log.
PLACES = (
    "day_sheet", "calls", "pickups", "hits", "replies", "sources", "paper", "ticket", "api", "copy", "letters",
    "request",
)  # fmt: skip
PAGE = 100


@dataclass(frozen=True, slots=True)
class ReadLine:
    """One row of the log. `by` is a name of the staff or of a token, else the kind of reader; never an address."""

    at: datetime
    last_at: datetime
    times: int
    by: str
    place: str
    numbers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadList:
    """A page of the log, the newest first."""

    lines: tuple[ReadLine, ...]
    has_older: bool


def note(ctx: Context, actor: Actor, place: str, seen: Iterable[Seen]) -> None:
    """Writes down what this actor has just been given in clear. A customer's look at their own data is none of it."""
    found = tuple(seen)
    if not found or actor.kind == "customer":
        return
    if place not in PLACES:
        raise ValueError(f"{place} is no place of the access log")
    with ctx.db.write(actor.shop_id) as unit:
        contact_reads.note(unit, actor.kind, actor.id, place, found, at=ctx.clock())


def show_contact(ctx: Context, actor: Actor, ticket_id: str, contact_id: str) -> str:
    """One address or number of a ticket in clear, for this once; raises NotFound for one that is not the ticket's."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        visit_id = tickets.get_ticket(unit, ticket_id).visit_id
        everybody = {person for found in visits.visit_people(unit, visit_id).values() for person in found}
        contact = people.get_contact(unit, contact_id)
        if contact is None or contact.person_id not in everybody:
            raise NotFound("There is no such address or number", "Look the ticket up again.")
    note(ctx, actor, "ticket", [(contact.person_id, contact.id)])
    return contact.address


def view(ctx: Context, actor: Actor, *, page: int = 1, number: str = "", size: int = PAGE) -> ReadList:
    """A page of the log, for the owner; of one claim number where it is given. Raises Invalid and NotFound for it."""
    actor.need("export")
    with ctx.db.read(actor.shop_id) as unit:
        about = None
        if number:
            ticket = tickets.find_by_number(unit, parse_number(number))
            by_role = visits.visit_people(unit, ticket.visit_id)
            about = {person for found in by_role.values() for person in found}
        rows = contact_reads.newest(unit, limit=size + 1, skip=(max(1, page) - 1) * size, person_ids=about)
        names = {row.id: str(row.name) for row in staff.list_staff(unit)}
        names |= {row.id: str(row.name) for row in api_tokens.list_tokens(unit)}
        numbers = keeping.numbers_of(unit, {row.person_id for row in rows[:size]})
        lines = tuple(
            ReadLine(row.at, row.last_at, row.times, names.get(row.reader_id, row.reader_kind), row.place,
                     tuple(map(show_number, numbers.get(row.person_id, ()))))
            for row in rows[:size]
        )  # fmt: skip
    return ReadList(lines, len(rows) > size)

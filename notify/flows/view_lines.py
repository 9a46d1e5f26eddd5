"""What every sheet of the shop says of one ticket: gathered for many tickets with a few queries, secrets left out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from notify.core.claim_number import show_number
from notify.core.instants import instant
from notify.core.shop import Shop
from notify.core.tickets import OPEN_PHASES, Phase, WaitsOn, waiting_on
from notify.store import parts, people, questions, staff, tickets, visits
from notify.store.database import Unit
from notify.store.tickets import Job, Ticket


@dataclass(frozen=True, slots=True)
class TicketLine:
    """One ticket on a sheet. `number` is as people read it; `left` is what is still to pay in minor units.

    `left` is None when nothing was agreed or nothing was repaired, 0 when it is paid. `person` is empty for
    somebody without a name; `forgotten` says that the person and the device's words were erased.
    """

    ticket_id: str
    visit_id: str
    number: str
    device: str
    device_class: str
    fault: str
    phase: Phase
    outcome: str
    reason: str
    waits_on: WaitsOn
    since: datetime
    created_at: datetime
    promise_at: datetime | None
    shelf: str
    safety: tuple[str, ...]
    technician: str
    person: str
    left: int | None
    forgotten: bool
    technician_id: str = ""


class Lines:
    """Makes lines within one transaction; names, open questions and missing parts are read once for all."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self._staff = {row.id: str(row.name) for row in staff.list_staff(unit)}
        self._asked = _count(q.ticket_id for q in questions.questions_in(unit, ("open",), OPEN_PHASES))
        self._missing = _count(p.ticket_id for p in parts.parts_in(unit, ("needed", "ordered")))
        self._made: dict[str, TicketLine] = {}  # in a transaction that only reads, a ticket has one line

    def staff_name(self, staff_id: str | None) -> str:
        """The name of somebody who works or worked here; empty when unknown."""
        return self._staff.get(staff_id or "", "")

    def missing(self, ticket_id: str) -> int:
        """How many parts a ticket still waits for."""
        return self._missing.get(ticket_id, 0)

    def of(self, found: Iterable[Ticket]) -> tuple[TicketLine, ...]:
        """A line for each ticket, in the order given."""
        whole = tuple(found)
        new = [ticket for ticket in whole if ticket.id not in self._made]
        bringers = visits.people_of_visits(self._unit, {t.visit_id for t in new}, "bringer") if new else {}
        known = people.people_by_id(self._unit, bringers.values()) if new else {}
        made = {t.id: self._line(t, known.get(bringers.get(t.visit_id, ""))) for t in new}
        if self._unit.known is not None:
            self._made |= made
        return tuple(made.get(ticket.id) or self._made[ticket.id] for ticket in whole)

    def by_id(self, ids: Iterable[str]) -> Mapping[str, TicketLine]:
        """identifier -> line."""
        wanted = set(ids)
        made = {one: self._made[one] for one in wanted & self._made.keys()}
        new = wanted - made.keys()
        return made | {line.ticket_id: line for line in self.of(tickets.tickets_by_id(self._unit, new).values())}

    def _line(self, ticket: Ticket, bringer: people.Person | None) -> TicketLine:
        return TicketLine(
            ticket_id=ticket.id, visit_id=ticket.visit_id, number=show_number(ticket.number), device=ticket.device,
            device_class=ticket.device_class, fault=ticket.fault, phase=ticket.phase, outcome=ticket.outcome,
            reason=ticket.reason, waits_on=self.waits_on(ticket), since=ticket.phase_since,
            created_at=ticket.created_at, promise_at=ticket.promise_at, shelf=ticket.shelf, safety=ticket.safety,
            technician=self.staff_name(ticket.technician_id), person=bringer.name if bringer else "",
            left=left_to_pay(ticket), forgotten=bringer is not None and bringer.forgotten,
            technician_id=ticket.technician_id or "",
        )  # fmt: skip

    def waits_on(self, ticket: Ticket) -> WaitsOn:
        """Whom a ticket waits on."""
        asked, missing = self._asked.get(ticket.id, 0), self._missing.get(ticket.id, 0)
        return waiting_on(ticket.phase, open_questions=asked, missing_parts=missing)


def left_to_pay(ticket: Job) -> int | None:
    """Minor units still owed; 0 when paid, None when no price stands or nothing was repaired."""
    if ticket.paid:
        return 0
    if ticket.price_agreed is None or ticket.outcome == "unrepaired":
        return None
    return max(0, ticket.price_agreed - (ticket.deposit or 0))


def day_bounds(shop: Shop, day: date) -> tuple[datetime, datetime]:
    """The instants between which that date lies on the shop's wall."""
    tz = ZoneInfo(shop.zone)
    return instant(datetime.combine(day, time(0)), tz), instant(datetime.combine(day + timedelta(days=1), time(0)), tz)


def _count(ids: Iterable[str]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for one in ids:
        counts[one] = counts.get(one, 0) + 1
    return counts

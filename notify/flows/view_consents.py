"""The proof of consent: what each person of a visit was shown, said, and took back; what counts today."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.claim_number import parse_number, show_number
from notify.core.consent import INTERESTS, SAID, in_use, may_be_asked
from notify.core.mask import mask_email, mask_phone
from notify.flows.context import Context
from notify.store import consents, people, staff, tickets, visits
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Said:
    """One row of the ledger. `text` are the exact words in `language`, `wording` their version, `by` who entered it.

    `evidence` is "reply", "request", "visit" or "", and `evidence_id` the beginning of its identifier.
    """

    at: datetime
    allowed: bool
    channel: str
    purpose: str
    basis: str
    text: str
    wording: str
    language: str
    how: str
    by: str
    evidence: str
    evidence_id: str


@dataclass(frozen=True, slots=True)
class Way:
    """One stored contact, masked: what is allowed there today, what may be asked; `stopped_on`: all was stopped."""

    channel: str
    masked: str
    allowed: tuple[str, ...]
    may_ask: tuple[str, ...]
    stopped_on: datetime | None


@dataclass(frozen=True, slots=True)
class Who:
    """One person of the visit; without a name and ways once forgotten, while the rule of keeping keeps the rows."""

    person_id: str
    roles: tuple[str, ...]
    name: str
    forgotten: bool
    child: bool
    ways: tuple[Way, ...]
    said: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class Proof:
    """Everything about one visit, found by the claim number of any of its tickets."""

    number: str
    visit_id: str
    people: tuple[Who, ...]


def proof(ctx: Context, actor: Actor, number: str) -> Proof:
    """The proof; raises Invalid for no claim number, NotFound."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        ticket = tickets.find_by_number(unit, parse_number(number))
        roles: dict[str, tuple[str, ...]] = {}
        for role, ids in visits.visit_people(unit, ticket.visit_id).items():
            for one in ids:
                roles[one] = (*roles.get(one, ()), role)
        ledger = consents.ledger(unit, roles)
        known, states = people.people_by_id(unit, roles), people.standings(unit, roles)
        names = {row.id: str(row.name) for row in staff.list_staff(unit)}
        who = tuple(
            Who(
                one, tuple(sorted(found)), known[one].name, known[one].forgotten, known[one].child,
                () if known[one].forgotten else _ways(unit, known[one], states.get(one, {})),
                tuple(_said(entry, names) for entry in ledger if entry.person_id == one),
            )
            for one, found in sorted(roles.items(), key=lambda pair: "bringer" not in pair[1])
        )  # fmt: skip
        return Proof(show_number(ticket.number), ticket.visit_id, tuple(one for one in who if one.said or one.ways))


def _ways(unit: Unit, person: people.Person, state: Mapping[tuple[str, str], bool]) -> tuple[Way, ...]:
    return tuple(_way(one, in_use(state, one.channel), person) for one in people.contacts_of(unit, person.id))


def _way(one: people.Contact, used: frozenset[str], person: people.Person) -> Way:
    open_to = (use for use in SAID if use not in used and INTERESTS.get(use) in {None, *used})
    return Way(
        one.channel, (mask_phone if one.channel == "sms" else mask_email)(one.address),
        tuple(use for use in SAID if use in used), may_be_asked(open_to, child=person.child), one.suppressed_at,
    )  # fmt: skip


def _said(entry: consents.Entry, names: dict[str, str]) -> Said:
    evidence = {"reply": "reply", "objection": "request"}.get(entry.how, "visit") if entry.evidence_id else ""
    return Said(
        entry.at, entry.allowed, entry.channel, entry.purpose, entry.basis, entry.text, entry.wording, entry.language,
        entry.how, names.get(entry.staff_id or "", ""), evidence, (entry.evidence_id or "")[:8],
    )  # fmt: skip

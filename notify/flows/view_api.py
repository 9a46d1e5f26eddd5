"""What scripts read that no page shows: tickets page by page, contacts in full, events in order, parts by state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.claim_number import parse_number
from notify.core.events import Event
from notify.core.message_groups import GROUPS
from notify.core.tickets import Phase
from notify.flows import contact_reads
from notify.flows.context import Context
from notify.flows.view_deliveries import PartLine, part_lines
from notify.flows.view_lines import Lines, TicketLine
from notify.flows.view_messages import MessageLine, message_lines
from notify.store import events, message_lists, parts, people, tickets, visits
from notify.store.message_lists import Wanted

ROLES = ("bringer", "tell", "payer", "collector")


@dataclass(frozen=True, slots=True)
class TicketPage:
    """Some tickets, and after which one the next page begins ("" for none)."""

    lines: tuple[TicketLine, ...]
    next: str


@dataclass(frozen=True, slots=True)
class PartPage:
    """Some parts, and after which one the next page begins ("" for none)."""

    lines: tuple[PartLine, ...]
    next: str


@dataclass(frozen=True, slots=True)
class Reach:
    """One way to a person, in full; `uses` are the purposes allowed today."""

    channel: str
    address: str
    uses: tuple[str, ...]
    undeliverable: bool


@dataclass(frozen=True, slots=True)
class Who:
    """One person of a visit, in full; of a forgotten one nothing is left."""

    id: str
    roles: tuple[str, ...]
    name: str
    language: str
    forgotten: bool
    contacts: tuple[Reach, ...]


@dataclass(frozen=True, slots=True)
class MessagePage:
    """Some messages, and before which number the next page begins (0 for none)."""

    lines: tuple[MessageLine, ...]
    next: int


@dataclass(frozen=True, slots=True)
class EventPage:
    """Some events with their numbers, and whether there are more."""

    events: tuple[tuple[int, Event], ...]
    more: bool


def tickets_page(
    ctx: Context, actor: Actor, *, phase: str = "", waits_on: str = "", number: str = "", after: str = "", limit: int
) -> TicketPage:
    """Tickets in the order of their identifiers, which tells nothing and never changes; at most `limit` of them.

    `waits_on` is told from other rows, so a page of it may hold fewer, and still have a next one. Raises Invalid.
    """
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = tickets.tickets_after(
            unit, after, phase=Phase(phase) if phase else None, number=parse_number(number) if number else "",
            limit=limit + 1,
        )  # fmt: skip
        lines = Lines(unit).of(found[:limit])
    last = found[limit - 1].id if len(found) > limit else ""
    return TicketPage(tuple(line for line in lines if waits_on in ("", line.waits_on)), last)


def people_of(ctx: Context, actor: Actor, visit_id: str) -> tuple[Who, ...]:
    """Everybody of a visit with their addresses in full; raises NotFound."""
    actor.need("see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        by_role = visits.visit_people(unit, visit_id)
        roles: dict[str, tuple[str, ...]] = {}
        for role in ROLES:
            for person_id in by_role.get(role, ()):
                roles[person_id] = (*roles.get(person_id, ()), role)
        uses, known = people.allowed_uses(unit, roles), people.people_by_id(unit, roles)
        contacts = people.contacts_of_all(unit, (i for i in roles if not known[i].forgotten))
        whole = tuple(
            Who(i, found, known[i].name, known[i].language, known[i].forgotten, tuple(
                Reach(
                    c.channel, c.address,
                    () if c.suppressed_at else tuple(sorted(uses.get(i, {}).get(c.channel, ()))), c.undeliverable,
                )
                for c in contacts.get(i, ())
            ))
            for i, found in roles.items()
        )  # fmt: skip
        seen = [(i, c.id) for i, own in contacts.items() for c in own]
    contact_reads.note(ctx, actor, "api", seen)
    return whole


def parts_page(ctx: Context, actor: Actor, *, states: Sequence[str], after: str = "", limit: int) -> PartPage:
    """Parts in these states in the order of their identifiers; at most `limit` of them."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = parts.parts_after(unit, after, states, limit=limit + 1)
        lines = part_lines(ctx, unit, Lines(unit), found[:limit])
    return PartPage(lines, found[limit - 1].id if len(found) > limit else "")


def messages_page(
    ctx: Context, actor: Actor, *, group: str = "", notice: str = "", channel: str = "", number: str = "",
    before: int = 0, limit: int,
) -> MessagePage:  # fmt: skip
    """Messages with a number below `before` (0: the newest), the newest first. Raises Invalid, NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        wanted = Wanted(tuple(GROUPS[group]) if group else (), notice, channel, before=before)
        if number:
            ticket = tickets.find_by_number(unit, parse_number(number))
            about = (f"ticket:{ticket.id}", f"visit:{ticket.visit_id}")
            wanted = Wanted(wanted.states, notice, channel, ticket.visit_id, about, before=before)
        found = message_lists.find(unit, wanted, limit=limit + 1)
        lines = message_lines(unit, found[:limit])
    return MessagePage(lines, found[limit - 1].seq if len(found) > limit else 0)


def events_page(ctx: Context, actor: Actor, *, since: int, limit: int) -> EventPage:
    """The shop's story after number `since`, in the order in which it was recorded."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = events.after(unit, since, limit=limit + 1)
    return EventPage(found[:limit], len(found) > limit)


def need_visit(ctx: Context, actor: Actor, visit_id: str) -> None:
    """Raises NotFound unless the visit is one of this shop's."""
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)

"""From what people type to what is meant: a claim number, a part's label, a call, a member of staff."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.claim_number import parse_number
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.messages import MessageState
from notify.core.questions import QuestionState
from notify.flows.context import Context
from notify.store import messages, parts, questions, staff, tickets, visits


@dataclass(frozen=True, slots=True)
class Meant:
    """A ticket by its claim number."""

    ticket_id: str
    visit_id: str
    number: str


def acting_staff(ctx: Context, shop_id: str, name: str) -> Actor:
    """The member of staff of that name; the only owner when the name is empty. Raises NotFound, NotAllowed, Invalid."""
    with ctx.db.read(shop_id) as unit:
        everybody = [row for row in staff.list_staff(unit) if row.active]
        found = [row for row in everybody if (row.name == name if name else row.role == "owner")]
        inactive = bool(name) and not found and staff.find_staff(unit, name) is not None
    if inactive:
        raise NotAllowed(f"{name} does not work here any more", "Name somebody else with --as.", field="as")
    if name and not found:
        known = ", ".join(row.name for row in everybody)
        raise NotFound(f"Nobody called {name[:40]!r} works here", f"Known: {known}.", field="as")
    if len(found) != 1:
        known = ", ".join(row.name for row in found) or "nobody"
        raise Invalid("It is not clear who acts", f"Add --as with a name; owners: {known}.", field="as")
    return Actor(shop_id, "staff", found[0].id, found[0].role)


def find_ticket(ctx: Context, actor: Actor, number: str) -> Meant:
    """The ticket with this claim number, typed in any way; raises Invalid or NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        ticket = tickets.find_by_number(unit, parse_number(number))
    return Meant(ticket.id, ticket.visit_id, ticket.number)


def find_question(ctx: Context, actor: Actor, ticket_id: str, *, kind: str = "", answered: bool = False) -> str:
    """The ticket's open question, or the one answered last; `kind` decides between several. NotFound, Conflict."""
    actor.need("look")
    state = QuestionState.ANSWERED if answered else QuestionState.OPEN
    with ctx.db.read(actor.shop_id) as unit:
        fitting = [q for q in questions.questions_of(unit, ticket_id) if q.state == state and kind in ("", q.kind)]
    if not fitting:
        what = "answered" if answered else "open"
        raise NotFound(f"This ticket has no {what} question", "Look at it with `shelfbell ticket show`.")
    if len(fitting) > 1 and not answered:
        raise Conflict("Several questions are open", f"Add --kind: {', '.join(q.kind for q in fitting)}.", field="kind")
    return fitting[-1].id


def find_part(ctx: Context, actor: Actor, text: str, *, states: tuple[str, ...]) -> str:
    """A part by its label, or by the claim number of a ticket with one part in `states`. Raises NotFound, Conflict."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        if parts.label_taken(unit, text.strip().lower()):
            return parts.get_part(unit, text.strip().lower()).id
        try:
            ticket = tickets.find_by_number(unit, parse_number(text))
        except Invalid:
            raise NotFound(
                f"{text[:20]!r} is neither a part's label nor a claim number",
                "See `shelfbell part list`.",
                field="part",
            ) from None
        fitting = [part for part in parts.parts_of(unit, ticket.id) if part.state in states]
    if not fitting:
        raise NotFound(f"This ticket has no part that is {' or '.join(states)}", "See `shelfbell part list`.")
    if len(fitting) > 1:
        raise Conflict(
            "Several parts fit", f"Name one by its label: {', '.join(p.label for p in fitting)}.", field="part"
        )
    return fitting[0].id


def find_call(ctx: Context, actor: Actor, text: str) -> str:
    """An open call by the beginning of its identifier; raises NotFound or Conflict."""
    return _by_beginning(ctx, actor, text, states=(MessageState.TO_CALL,), what="call")


def find_message(ctx: Context, actor: Actor, text: str) -> str:
    """A message by the beginning of its identifier; raises NotFound or Conflict."""
    return _by_beginning(ctx, actor, text, states=(), what="message")


def _by_beginning(ctx: Context, actor: Actor, text: str, *, states: tuple[str, ...], what: str) -> str:
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = [m.id for m in messages.list_messages(unit, states=states, limit=2000) if m.id.startswith(text)]
    if not text or not found:
        raise NotFound(f"There is no such {what}", f"See `shelfbell {what} list`.", field=what)
    if len(found) > 1:
        raise Conflict(f"Several begin with {text[:36]!r}", "Write more of its letters.", field=what)
    return found[0]


def find_staff(ctx: Context, actor: Actor, name: str) -> str:
    """The identifier of a member of staff, active or not; raises NotFound."""
    with ctx.db.read(actor.shop_id) as unit:
        row = staff.find_staff(unit, name.strip())
    if row is None:
        raise NotFound(f"Nobody called {name[:40]!r} works here", "See `shelfbell staff list`.", field="name")
    return str(row.id)


def find_person(ctx: Context, actor: Actor, visit_id: str, role: str) -> str:
    """The person with that part in a visit (bringer, tell, payer, collector); raises NotFound or Conflict."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = visits.visit_people(unit, visit_id).get(role, ())
    if not found:
        raise NotFound(f"This visit has nobody as {role}", "Use bringer, tell, payer or collector.", field="who")
    return found[0]

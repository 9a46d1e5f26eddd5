"""One ticket as text: a few lines a person reads from top to bottom."""

from __future__ import annotations

from collections.abc import Iterator

from notify.cli.desk import Desk, table
from notify.core.money import show_amount
from notify.core.retention import EXCEPTIONS
from notify.flows.view_desk import view_shop
from notify.flows.view_keeping import Keeping
from notify.flows.view_ticket import PersonLine, QuestionLine, TicketView


def ticket_lines(desk: Desk, view: TicketView) -> Iterator[str]:
    """The ticket, part by part; empty parts are left out."""
    line = view.line
    yield f"{line.number}  {line.device or '(forgotten)'} ({line.device_class})"
    yield from _pairs(_facts(desk, view))
    yield from _block("people", [_person(p) for p in view.people])
    yield from _block("questions", [_question(desk, q) for q in view.questions])
    yield from _block("parts", [
        f"{p.label}  {p.name or '(forgotten)'} - {p.state}{', due ' + desk.when(p.due_at) if p.due_at else ''}"
        f"{', late' if p.late else ''}" for p in view.parts
    ])  # fmt: skip
    yield from _block("notes", [f"{desk.when(n.at)} {n.by}: {n.text}" for n in view.notes])
    yield from _block("messages", [
        f"{desk.when(m.at)} {m.notice} {m.channel} {m.state} {m.reason}".rstrip() for m in view.messages
    ])  # fmt: skip
    yield from _block("story", [f"{desk.when(e.at)} {e.kind} ({e.by or e.actor_kind})" for e in view.story])


def _facts(desk: Desk, view: TicketView) -> Iterator[tuple[str, str]]:
    line = view.line
    yield "phase", f"{line.phase.value}{' ' + line.outcome if line.outcome else ''}, since {desk.when(line.since)}"
    yield "waits on", line.waits_on.value
    yield "can go to", ", ".join(dict.fromkeys(move.to for move in view.moves))
    yield "fault", line.fault
    yield "condition", view.condition
    yield "accessories", view.accessories
    yield "safety", " ".join(line.safety)
    yield "shelf", line.shelf
    yield "promised", desk.when(line.promise_at) if line.promise_at else ""
    yield "suggested", desk.when(view.suggested) if view.suggested else ""
    yield "money", _money(desk, view)
    yield "pickup", desk.when(view.booked_at) if view.booked_at else ""
    yield "follows", view.follows.number if view.follows else ""
    yield "same visit", ", ".join(other.number for other in view.others)
    yield "waits here", "yes" if view.waits_here else ""
    yield "data", _keeping(desk, view.keeping)


def _keeping(desk: Desk, keeping: Keeping) -> str:
    """When the data go, or what keeps them."""
    if keeping.goes_at is None:
        return ""
    why = " and ".join(EXCEPTIONS[code] for code in keeping.reasons)
    return f"kept beyond {desk.day(keeping.goes_at)}: {why}" if why else f"go on {desk.day(keeping.goes_at)}"


def _money(desk: Desk, view: TicketView) -> str:
    currency = view_shop(desk.ctx, desk.shop_id).currency
    named = (("agreed", view.price_agreed), ("limit", view.price_limit), ("deposit", view.deposit))
    told = [f"{n} {show_amount(m, currency=currency, language='en')}" for n, m in named if m is not None]
    return ", ".join([*told, *(["paid"] if view.paid else [])])


def _pairs(facts: Iterator[tuple[str, str]]) -> Iterator[str]:
    yield from (f"  {line}" for line in table([(name, text.replace("\n", " / ")) for name, text in facts if text]))


def _question(desk: Desk, q: QuestionLine) -> str:
    end = f"answered {q.answer}" if q.answer else f"{q.state}, until {desk.when(q.expires_at)}"
    return f"{q.kind}: {q.wording or '(forgotten)'} - {end}"


def _person(person: PersonLine) -> str:
    name = person.name or ("(forgotten)" if person.forgotten else "(no name)")
    ways = [
        f"{c.channel} {c.masked} for {'+'.join(c.uses) or 'nothing'}"
        + (", in the device" if c.in_repaired_device else "") + (", undeliverable" if c.undeliverable else "")
        for c in person.contacts
    ]  # fmt: skip
    return f"{'+'.join(person.roles)}: {name}; {'; '.join(ways) or 'no way to reach'}"


def _block(title: str, lines: list[str]) -> Iterator[str]:
    if lines:
        yield f"  {title}"
        yield from (f"    {line}" for line in lines)

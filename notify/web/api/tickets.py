"""Tickets, visits and questions: what scripts read and do, one flow each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from notify.core.claim_number import show_number
from notify.flows import check_in, desk_notes, moves, promises, questions, view_api, view_ticket
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.context import Context
from notify.flows.view_desk import view_shop
from notify.web.api import told
from notify.web.api.call import Call, Do

Given = Mapping[str, Any]


def currency_of(call: Call) -> str:
    """The currency of the shop that is asked."""
    return view_shop(call.ctx, call.actor.shop_id).currency


def _list(call: Call) -> Given:
    page = view_api.tickets_page(
        call.ctx, call.actor, phase=call.query.get("phase", ""), waits_on=call.query.get("waits_on", ""),
        number=call.query.get("number", ""), after=call.query.get("after", ""), limit=call.query["limit"],
    )  # fmt: skip
    currency = currency_of(call)
    lines = [told.ticket(one, currency, contacts=call.sees_contacts) for one in page.lines]
    return {"tickets": lines, "next": page.next or None}


def show(call: Call) -> Given:
    """One ticket as it is tagged."""
    seen = view_ticket.view(call.ctx, call.actor, call.at["ticket_id"])
    return told.whole_ticket(seen, currency_of(call), contacts=call.sees_contacts)


def _people(call: Call) -> Given:
    found = view_api.people_of(call.ctx, call.actor, call.at["visit_id"])
    return {"visit": call.at["visit_id"], "people": [
        {"id": one.id, "roles": list(one.roles), "name": one.name, "language": one.language,
         "forgotten": one.forgotten, "contacts": [
             {"channel": c.channel, "address": c.address, "uses": list(c.uses), "undeliverable": c.undeliverable}
             for c in one.contacts]}
        for one in found
    ]}  # fmt: skip


def _person(typed: Mapping[str, Any]) -> PersonForm:
    return PersonForm(**_listed(typed))


def _device(typed: Mapping[str, Any]) -> DeviceForm:
    return DeviceForm(**_listed(typed))


def _listed(typed: Mapping[str, Any]) -> dict[str, Any]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in typed.items()}


def _check_in(call: Call) -> Given:
    body = call.body
    form = VisitForm(
        bringer=_person(body["bringer"]), devices=tuple(_device(one) for one in body["devices"]),
        tell=_person(body.get("tell", {})), payer=_person(body.get("payer", {})),
        collectors=tuple(body.get("collectors", ())), language=body.get("language", ""),
        waits_here=body.get("waits_here", False), number_is_device=body.get("number_is_device", False),
        taken_in=body.get("taken_in", ""),
    )  # fmt: skip
    done = check_in.check_in(call.ctx, call.actor, form)
    made = zip(done.ticket_ids, done.numbers, strict=True)
    return {"visit": done.visit_id, "tickets": [{"id": i, "number": show_number(number)} for i, number in made],
            "warnings": list(done.warnings)}  # fmt: skip


def _moved(done: moves.Moved) -> Given:
    return {"ticket": done.ticket.id, "event": done.event_id, "kind": done.kind, "phase": done.ticket.phase,
            "version": done.ticket.version}  # fmt: skip


def _move(call: Call) -> Given:
    body = call.body
    return _moved(moves.move(
        call.ctx, call.actor, call.at["ticket_id"], body["to"], reason=body.get("reason", ""),
        outcome=body.get("outcome", ""), note=body.get("note", ""), anyway=body.get("anyway", False),
        seen_version=call.seen, at=call.instant("at"),
    ))  # fmt: skip


def _undo(call: Call) -> Given:
    return _moved(moves.undo(call.ctx, call.actor, call.at["ticket_id"], event_id=call.body["event"]))


def _promise(call: Call) -> Given:
    at = call.instant("at")
    assert at is not None  # the shape asks for it
    promises.promise(call.ctx, call.actor, call.at["ticket_id"], at, why=call.body.get("why", "other"),
                     seen_version=call.seen)  # fmt: skip
    return {"ticket": call.at["ticket_id"]}


def _place(call: Call) -> Given:
    desk_notes.set_place(call.ctx, call.actor, call.at["ticket_id"], shelf=call.body["shelf"], seen_version=call.seen)
    return {"ticket": call.at["ticket_id"]}


def _money(call: Call) -> Given:
    body = call.body
    desk_notes.record_money(
        call.ctx, call.actor, call.at["ticket_id"], price_agreed=body.get("price_agreed", ""),
        deposit=body.get("deposit", ""), paid=body.get("paid"), seen_version=call.seen,
    )  # fmt: skip
    return {"ticket": call.at["ticket_id"]}


def _note(call: Call) -> Given:
    desk_notes.add_note(call.ctx, call.actor, call.at["ticket_id"], text=call.body["text"])
    return {"ticket": call.at["ticket_id"]}


def _ask(call: Call) -> Given:
    body, ticket_id = call.body, call.at["ticket_id"]
    asked = questions.ask(
        call.ctx, call.actor, ticket_id, kind=body["kind"], wording=body["wording"], price=body.get("price", ""),
        part_id=body.get("part", ""), until=call.instant("until"),
    )  # fmt: skip
    return {"ticket": ticket_id, "question": asked}


def _answer(call: Call) -> Given:
    questions.answer(call.ctx, call.actor, call.at["question_id"], answer=call.body["answer"],
                     said_by=call.body["said_by"])  # fmt: skip
    return {"question": call.at["question_id"]}


def _withdraw(call: Call) -> Given:
    questions.withdraw(call.ctx, call.actor, call.at["question_id"])
    return {"question": call.at["question_id"]}


def tag_of(call: Call, ctx: Context) -> tuple[int, Given]:
    """The version of the ticket that a call is about, and the ticket as it is told, for its tag."""
    seen = view_ticket.view(ctx, call.actor, call.at["ticket_id"])
    return seen.version, told.whole_ticket(seen, currency_of(call), contacts=call.sees_contacts)


DO: dict[str, Do] = {
    "list_tickets": _list, "show_ticket": show, "show_people": _people, "check_in": _check_in, "move_ticket": _move,
    "undo_move": _undo, "promise": _promise, "place": _place, "money": _money, "note": _note, "ask": _ask,
    "answer": _answer, "withdraw_question": _withdraw,
}  # fmt: skip

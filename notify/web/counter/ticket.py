"""One ticket: everything about it on one page."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.core.questions import ANSWERS
from notify.core.roles import may
from notify.flows.view_deliveries import PartLine
from notify.flows.view_replies import ReplyLine
from notify.flows.view_ticket import QuestionLine, SlotLine, TicketView, view
from notify.web.counter import desk_words as d
from notify.web.counter import hold_says, part_says, promise_part
from notify.web.counter import ticket_says as says
from notify.web.counter.kinds import kind_groups
from notify.web.counter.replies import shown
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, render_page, say
from notify.web.say import Say

pages = Blueprint("ticket", __name__)
PAPERS = (("roll80", "Claim ticket, 80 mm"), ("roll58", "Claim ticket, 58 mm"), ("a6", "Claim ticket, A6"),
          ("label", "Label for the device"))  # fmt: skip
SAFETY = ("swollen", "hot", "leaking", "wet")
Typed = dict[str, Any]
# Moves that have a page of their own.
ON_PAGES = ("handed_back", "left_behind")


@pages.get("/tickets/<ticket_id>")
def show(ticket_id: str) -> Response:
    """The whole ticket."""
    return page(ticket_id)


def page(
    ticket_id: str, *, errors: list[Problem] | None = None, refused: str = "", status: int = 200,
    typed: Typed | None = None,
) -> Response:  # fmt: skip
    """The ticket's page; `typed` keeps what stood in a form that was refused, by the names of its fields."""
    seen, speak = view(ctx(), current_actor(), ticket_id), say()
    return render_page(
        "ticket.html", status=status, errors=errors, refused=refused, ticket_id=ticket_id, version=seen.version,
        **_head(seen, speak), **_moves(seen, speak, typed or {}), **_questions(seen, speak, typed or {}),
        **_parts(seen, speak, typed or {}), **_promise(seen, speak, typed or {}), **_known(seen, speak, typed or {}),
        **hold_says.part(seen.keeping, speak, typed or {}, may_hold=may(current_actor().role, "hold")),
        replies=[shown(one, speak, back=f"/tickets/{ticket_id}") for one in _readable(seen)],
        messages=says.messages(seen, speak), story=says.story(seen, speak),
    )  # fmt: skip


def _readable(seen: TicketView) -> tuple[ReplyLine, ...]:
    return seen.replies if may(current_actor().role, "see_contact") else ()


def _head(seen: TicketView, speak: Say) -> dict[str, Any]:
    line = seen.line
    return {
        "number": line.number, "device": d.device(line), "mark_name": line.phase.value,
        "sentence": d.stands(line, speak),
        "waits_on": says.waits(seen, speak), "place": line.shelf, "promise": _promised(seen, speak),
        "flag": d.flag(line.safety), "cautions": [d.staff_word("staff_caution", one) for one in line.safety],
        "gone": "The person was forgotten: name, contacts and all words about the device were erased. "
                "What happened to it stays." if line.forgotten else "",
    }  # fmt: skip


def _promised(seen: TicketView, speak: Say) -> str:
    in_work = seen.line.phase in ("taken_in", "inspecting", "in_line", "on_bench", "proving")
    return d.promise(seen.line.promise_at, speak) if in_work else ""


def is_open(seen: TicketView) -> bool:
    """Whether the device is with us and its ticket can still change."""
    return seen.line.phase not in ("handed_back", "left_behind")


def _moves(seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    kept = {name: typed.get(name, "") for name in ("event", "reason", "note")}
    gone = seen.line.forgotten  # nobody is left to hand anything to or to take it back from
    offered = [says.move(one, seen) for one in seen.moves if one.event not in ON_PAGES and not gone]
    hand_over = any(one.event == "handed_back" for one in seen.moves)
    return {
        "moves": offered, "not_now": says.refusals(seen.refused), "undo_offer": None if gone else _undo(seen, speak),
        "uncollected_href": f"/uncollected/{seen.line.ticket_id}" if seen.line.phase == "on_shelf" and not gone else "",
        "hand_over_href": f"/visits/{seen.line.visit_id}/handover" if hand_over else "",
        "next_offer": seen.line.phase in ("taken_in", "inspecting", "in_line") and not gone,
        "move_typed": kept, "undo_reason": typed.get("undo_reason", ""),
    }  # fmt: skip


def _undo(seen: TicketView, speak: Say) -> dict[str, Any] | None:
    if seen.undo is None:
        return None
    did = d.words()(f"event.{seen.undo.event}")
    left = int((seen.undo.until - speak.now).total_seconds())
    said = f"{did}: a mistake? It can be taken back for {left} more seconds, before anybody is told."
    if seen.undo.needs_reason:
        said = f"{did}: was that a mistake? An owner may take it back with a reason; what was told stays told."
    return {"event": seen.undo.event_id, "sentence": said, "needs_reason": seen.undo.needs_reason}


def _questions(seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    role = current_actor().role
    open_ones = [one for one in seen.questions if one.state == "open"]
    blank = {"kind": "price", "wording": "", "price": "", "until": "", "open": False}
    return {
        "questions": [_question(one, speak, typed) for one in open_ones],
        "asked": [{"sentence": says.closed_question(one, speak)} for one in seen.questions if one.state != "open"],
        "kinds": [{"code": code, "label": d.capital(d.words()(f"question.{code}"))} for code in ANSWERS],
        "question": {**blank, **typed.get("question", {})},
        "may_ask": may(role, "ask") and is_open(seen),
    }  # fmt: skip


def _question(one: QuestionLine, speak: Say, typed: Typed) -> dict[str, Any]:
    said_by = typed["said_by"] if typed.get("answering") == one.id else ""
    return {
        "id": one.id, "sentence": says.question(one, speak),
        "until": f"Asked {d.at(speak, one.asked_at)}; open until {speak.when(one.expires_at)}.",
        "options": [{"code": code, "label": d.staff_word("answer", code)} for code in one.options],
        "withdraw": may(current_actor().role, "ask"), "said_by": said_by,
    }  # fmt: skip


def _parts(seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    return {
        "parts": [_part(one, seen, speak, typed) for one in seen.parts],
        "part": {"part": "", "supplier": "", "due": "", "article": "", "quantity": "1", "open": False,
                 **typed.get("part", {})},
        "suppliers": [{"code": code, "label": name} for code, name in seen.suppliers],
        "may_order": may(current_actor().role, "order_part") and is_open(seen),
    }  # fmt: skip


_CAME = ("needed", "ordered", "arrived", "wrong")  # of which another one may have come


def _part(one: PartLine, seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    back, base = f"/tickets/{seen.line.ticket_id}", f"/parts/{one.part_id}"
    here = d.button(f"{base}/arrived", "It is here", main=True, back=back)
    drop = d.button(f"{base}/not-needed", "Not needed", back=back)
    faulty = d.button(f"{base}/dead", "It is faulty", back=back)
    undo = [d.button(f"{base}/not-here", "It is not here", back=back)] if one.undo_until else []
    by_state = {"needed": [here, drop], "ordered": [here, drop], "arrived": [*undo, faulty, drop]}
    mine = typed.get("part_id") == one.part_id
    told = {"article": one.article, "order_ref": one.order_ref, "slip": one.slip}
    return {
        "id": one.part_id, "sentence": says.part(one, speak), "line": part_says.line(one, speak), "told": told,
        "another_href": f"{base}/another" if one.state in _CAME and is_open(seen) else "",
        "buttons": by_state.get(one.state, []) if is_open(seen) else [],
        "label_href": f"{base}/label.pdf" if one.state in ("ordered", "arrived") and is_open(seen) else "",
        "order": one.state == "needed" and bool(seen.suppliers) and is_open(seen),
        "delay": one.state == "ordered" and is_open(seen), "back": back,
        "supplier": typed.get("supplier", "") if mine else "", "due": typed.get("due", "") if mine else "",
    }  # fmt: skip


def _promise(seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    return {
        **promise_part.context(seen, speak, typed),
        "book_action": f"/visits/{seen.line.visit_id}/book", "slot": "",
        "slots": [
            {"code": f"{one.local:%Y-%m-%dT%H:%M}/{one.fold}", "label": speak.when(one.start)}
            for one in _soon(seen, speak)
        ],
        "booked": f"They come {d.at(speak, seen.booked_at)}." if seen.booked_at else "",
    }  # fmt: skip


def _soon(seen: TicketView, speak: Say) -> list[SlotLine]:
    """The times of the coming week: a caller wants one of those, and a longer list is hard to read."""
    return [one for one in seen.slots if one.start - speak.now <= timedelta(days=7)]


def _reveals(seen: TicketView, shown: dict[str, str]) -> list[dict[str, str]]:
    """Each address and number with the button that shows it in clear, for this once; the look is noted."""
    if not may(current_actor().role, "see_contact"):
        return []
    what = {"sms": "number", "email": "address"}
    return [
        {"id": one.id, "masked": one.masked, "label": f"Show the {what[one.channel]}", "shown": shown.get(one.id, "")}
        for person in seen.people for one in person.contacts
    ]  # fmt: skip


def _known(seen: TicketView, speak: Say, typed: Typed) -> dict[str, Any]:
    line = seen.line
    links = [{"label": "What was allowed, in the words shown", "href": f"/visits/{seen.line.number}/consents"}]
    links += [{"label": f"{one.number} {d.device(one)}", "href": f"/tickets/{one.ticket_id}"} for one in seen.others]
    if seen.follows:
        links.append({"label": f"Follows {seen.follows.number}", "href": f"/tickets/{seen.follows.ticket_id}"})
    return {
        "is_open": is_open(seen), "forgotten": line.forgotten,
        **_contact(seen, typed), "reveals": _reveals(seen, typed.get("shown", {})),
        "fault": line.fault or ("" if line.forgotten else "No fault was noted."), "facts": says.facts(seen, speak),
        "money": says.money(seen, speak), "paid": typed.get("paid", seen.paid), "links": links,
        "price_agreed": typed.get("price_agreed", _amount(seen.price_agreed, speak)),
        "deposit": typed.get("deposit", _amount(seen.deposit, speak)), "currency": speak.sign,
        "shelf": typed.get("shelf", line.shelf), "visit_href": f"/visits/{line.visit_id}",
        "safety": [{"code": one, "label": d.words()(f"safety.{one}"), "on": one in line.safety} for one in SAFETY],
        "notes": [{"when": speak.when(n.at), "by": n.by or "somebody", "text": n.text} for n in reversed(seen.notes)],
        "repair_kind": typed.get("kind", seen.kind_id),
        "repair_kinds": kind_groups(seen.kinds, of=line.device_class, chosen=seen.kind_id) if is_open(seen) else [],
        "note": typed.get("new_note", ""), "may_reissue": may(current_actor().role, "reissue") and not line.forgotten,
        "prints": [] if line.forgotten else [
            {"label": label, "href": f"/tickets/{line.ticket_id}/print/{paper}.pdf"} for paper, label in PAPERS
        ],
    }  # fmt: skip


def _contact(seen: TicketView, typed: Typed) -> dict[str, Any]:
    """The form that corrects a number or an address; those who are told come first."""
    known = sorted((one for one in seen.people if not one.forgotten), key=lambda one: "tell" not in one.roles)
    first = known[0].id if known else ""
    return {
        "may_correct": bool(known) and may(current_actor().role, "change_contact"),
        "contact": {"person": first, "channel": "sms", "address": "", "open": False, **typed.get("contact", {})},
        "contact_people": [{"code": one.id, "label": d.person(one.name)} for one in known],
        "contact_channels": [{"code": "sms", "label": "Mobile number"}, {"code": "email", "label": "E-mail address"}],
    }


def _amount(minor: int | None, speak: Say) -> str:
    """An amount as it is typed: its sign stands in the label."""
    return "" if minor is None else speak.money(minor).replace(speak.sign, "").strip()

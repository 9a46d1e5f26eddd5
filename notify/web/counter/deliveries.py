"""Deliveries: boxes on their way, parts nobody ordered, parts unpacked today; the box that a slip or article names."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.flows import returns
from notify.flows.view_deliveries import Box, PartLine, named, view
from notify.web.counter import desk_words as d
from notify.web.counter import part_says as says
from notify.web.counter.day_sheet import expected
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("deliveries", __name__)


@pages.get("/deliveries")
def show() -> Response:
    """The whole list."""
    return page()


def page(*, errors: list[Problem] | None = None, status: int = 200, typed: dict[str, str] | None = None) -> Response:
    """The list, with what is wrong and what was typed for an order."""
    seen, speak = view(ctx(), current_actor()), say()
    back = returns.view(ctx(), current_actor())
    return render_page(
        "deliveries.html", here="deliveries", status=status, errors=errors,
        boxes=[box_of(box, seen.boxes, expected(box, seen.today, speak), speak) for box in seen.boxes],
        unordered=[_unordered(part) for part in seen.unordered],
        suppliers=[{"code": name, "label": name} for name in seen.suppliers],
        typed={**dict.fromkeys(("supplier", "due", "order_ref"), ""), **(typed or {})},
        arrived=[_arrived(part, speak) for part in seen.arrived],
        to_send_back=sum(len(one.parts) for one in back),
    )  # fmt: skip


@pages.get("/deliveries/box")
def box() -> Response:
    """The boxes that a packing slip, an order number or an article names, everything ticked that should be in them."""
    codes = request.args.getlist("code")[:20]
    found, speak = named(ctx(), current_actor(), codes), say()
    if not found:
        return redirect_with("/deliveries", "Nothing on order has this number.")
    return render_page(
        "deliveries_box.html", here="deliveries", code=codes[0][:60], several=len(found) > 1,
        boxes=[box_of(one, found, _due(one, speak), speak) for one in found],
    )  # fmt: skip


def _due(box: Box, speak: Say) -> str:
    slip = box.parts[0].slip
    due = f" It was expected {d.at(speak, box.due_at)}." if box.due_at else ""
    return (f"Packing slip {slip}.{due}" if slip else due).strip()


def box_of(box: Box, all_boxes: tuple[Box, ...], sentence: str, speak: Say) -> d.Line:
    """One box as the templates show it."""
    return {
        "id": box.parts[0].part_id, "supplier": box.supplier or "A supplier not named", "late": box.late,
        "sentence": sentence, "usual": says.usual(box.usual), "hangs": says.hangs(box, speak) if box.late else "",
        "parts": [
            {"id": p.part_id, "name": p.name or "A part", "number": p.ticket.number, "changes": p.changes,
             "href": f"/tickets/{p.ticket.ticket_id}", "frees": frees(p, box, speak), "line": says.line(p, speak),
             "short": says.short(p, speak)}
            for p in box.parts
        ],
    }  # fmt: skip


def frees(part: PartLine, box: Box, speak: Say) -> str:
    """What the arrival of a part lets happen."""
    ticket, who = part.ticket, part.ticket.technician or "whoever is free"
    if ticket.waits_on == "customer":
        return f"The {d.device(ticket)} still waits for the customer's answer."
    if _is_over(part):
        return f"The repair of the {d.device(ticket)} is over; nobody waits for it any more."
    if ticket not in box.frees():
        return f"The {d.device(ticket)} waits for another part as well."
    with_others = "with the others of this box " if part.missing > 1 else ""
    frees_it = f"Once it is here, {with_others}the {d.device(ticket)} has all it waits for: {who} can bench it."
    return f"{frees_it} {d.promise(ticket.promise_at, speak)}".strip()


def _unordered(part: PartLine) -> d.Line:
    what = f"{part.name or 'A part'} for the {d.device(part.ticket)}: {_why_unordered(part)}"
    href = f"/tickets/{part.ticket.ticket_id}#parts"
    may_order = part.ticket.waits_on == "part"
    return {"id": part.part_id, "sentence": what, "number": part.ticket.number, "href": href, "may_order": may_order}


def _why_unordered(part: PartLine) -> str:
    if part.ticket.waits_on == "customer":
        return "the customer is asked first; order nothing before the answer."
    if _is_over(part):
        return "the repair is over; note on the ticket that it is not needed."
    return "nobody has ordered it."


def _is_over(part: PartLine) -> bool:
    return part.ticket.waits_on == "nobody"


def _arrived(part: PartLine, speak: Say) -> d.Line:
    came = f" came {d.at(speak, part.arrived_at)}" if part.arrived_at else " is here"
    who = part.ticket.technician or "whoever is free"
    free = f" It frees the {d.device(part.ticket)}; {who} benches it." if part.frees else ""
    what = f"{part.name or 'A part'} for {part.ticket.number}{came}.{free}"
    lies = f"The device is at {part.ticket.shelf}." if part.ticket.shelf else ""
    base = f"/parts/{part.part_id}"
    give = [d.button(f"{base}/give", f"Give it to {one.number} instead", to=one.part_id) for one in part.others]
    undo = [d.button(f"{base}/not-here", "It is not here after all")] if part.undo_until else []
    return {"id": part.part_id, "sentence": what, "place": lies, "label_href": f"{base}/label.pdf",
            "another_href": f"{base}/another", "buttons": [*give, *undo]}  # fmt: skip

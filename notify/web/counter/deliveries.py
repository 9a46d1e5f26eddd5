"""Deliveries: boxes on their way, parts nobody ordered, parts unpacked today; booking in by list or by label."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.flows import parts
from notify.flows.view_deliveries import Box, Deliveries, PartLine, view
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.counter.day_sheet import expected
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("deliveries", __name__)


@pages.get("/deliveries")
def show() -> Response:
    """The whole list."""
    return _page()


def _page(*, errors: list[Problem] | None = None, status: int = 200) -> Response:
    seen, speak = view(ctx(), current_actor()), say()
    return render_page(
        "deliveries.html", here="deliveries", status=status, errors=errors,
        boxes=[_box(box, seen, speak) for box in seen.boxes],
        unordered=[_unordered(part) for part in seen.unordered],
        arrived=[_arrived(part, speak) for part in seen.arrived],
    )  # fmt: skip


def _box(box: Box, seen: Deliveries, speak: Say) -> d.Line:
    return {
        "id": box.parts[0].part_id, "supplier": box.supplier or "A supplier not named", "late": box.late,
        "sentence": expected(box, seen.today, speak),
        "parts": [
            {"id": p.part_id, "name": p.name or "A part", "number": p.ticket.number,
             "href": f"/tickets/{p.ticket.ticket_id}", "frees": frees(p, box, speak)}
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
    return {"id": part.part_id, "sentence": what, "number": part.ticket.number, "href": href}


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
    return {"id": part.part_id, "sentence": what, "place": lies, "label_href": f"/parts/{part.part_id}/label.pdf"}


@pages.post("/deliveries/arrived")
def arrived() -> Response:
    """Books every ticked part in; one that cannot be is named, the others are kept."""
    ids = list(dict.fromkeys(request.form.getlist("part")))
    if not ids:
        return _page(errors=[{"field": "", "text": "No part is ticked. Tick those that are here."}], status=422)
    said, wrong = [], []
    for part_id in ids:
        try:
            said.append(_frees_sentence(parts.arrive(ctx(), current_actor(), part_id)))
        except NotifyError as error:
            wrong.append(d.plain(error))
    whole = f"{d.capital(d.count(len(said), 'part is', 'parts are'))} booked in." if said else ""
    return redirect_with(back_to("/deliveries"), " ".join(filter(None, [whole, *dict.fromkeys(said), *wrong])))


@pages.post("/parts/<part_id>/arrived")
def one_arrived(part_id: str) -> Response:
    """Books one part in and says what it frees."""
    done = parts.arrive(ctx(), current_actor(), part_id)
    return redirect_with(
        back_to(f"/tickets/{done.ticket_id}"), f"The part is booked in. {_frees_sentence(done)}".strip()
    )


def _frees_sentence(done: parts.Arrived) -> str:
    if not done.frees:
        return ""
    found = next((p for p in view(ctx(), current_actor()).arrived if p.part_id == done.part_id), None)
    if found is None or not found.frees:
        return ""
    who = found.ticket.technician or "whoever is free"
    lies = f", at {found.ticket.shelf}" if found.ticket.shelf else ""
    return f"{found.ticket.number} has all its parts: {who} can bench the {d.device(found.ticket)}{lies}."


@pages.post("/parts/<part_id>/dead")
def dead(part_id: str) -> Response:
    """Notes a faulty part; another one of the same is needed and stands under still to order."""
    parts.dead_on_arrival(ctx(), current_actor(), part_id)
    return redirect_with(back_to("/deliveries"), "The part is noted as faulty. Another one has to be ordered.")

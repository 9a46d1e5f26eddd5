"""It happened earlier: a step, a handover or an arrival that is on paper, entered with its true time."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.late_entry import read_past
from notify.flows import earlier, handover, moves
from notify.flows.view_ticket import TicketView, view
from notify.web.counter import desk_words as d
from notify.web.counter import ticket_says as says
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, desk, redirect_with, render_page, say

pages = Blueprint("earlier", __name__)
_FIELDS = ("what", "at", "reason", "note")
GIVEN_BACK, CAME = "handed_back", "part:"


@pages.get("/tickets/<ticket_id>/earlier")
def show(ticket_id: str) -> Response:
    """What may have happened to this device, and since when it is known."""
    return _page(ticket_id, dict.fromkeys(_FIELDS, ""))


@pages.post("/tickets/<ticket_id>/earlier")
def enter(ticket_id: str) -> Response:
    """Enters it at its own time; a refused one says why, and keeps what was typed."""
    typed = {name: request.form.get(name, "") for name in _FIELDS}
    try:
        said = _enter(view(ctx(), current_actor(), ticket_id), typed)
    except (Invalid, NotAllowed, Conflict) as error:
        return _page(ticket_id, typed, errors=d.problems(error, {"checked": "note", "to": "what"}), status=422)
    return redirect_with(f"/tickets/{ticket_id}/earlier", said)


def _enter(seen: TicketView, typed: dict[str, str]) -> str:
    at = read_past(typed["at"], zone_name=desk().shop.zone, now=ctx().clock(), field="at")
    what, ticket_id = typed["what"], seen.line.ticket_id
    if at is None:
        raise Invalid("No time was given", "Enter when it happened.", field="at")
    if what == GIVEN_BACK:
        handover.hand_back(ctx(), current_actor(), ticket_ids=[ticket_id], checked=typed["note"], at=at)
    elif what.startswith(CAME):
        earlier.part_came(ctx(), current_actor(), what.removeprefix(CAME), at=at)
        return "The part is booked in for that time."
    else:
        to, _, outcome = what.partition(":")
        moves.move(ctx(), current_actor(), ticket_id, to, outcome=outcome, reason=typed["reason"], note=typed["note"],
                   at=at, seen_version=seen.version)  # fmt: skip
    return "It is written down for that time."


def _page(ticket_id: str, typed: dict[str, str], *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    seen, speak = view(ctx(), current_actor(), ticket_id), say()
    last = earlier.last_known(ctx(), current_actor(), ticket_id)
    reasons = dict.fromkeys(reason for one in seen.moves if one.event != "left_behind" for reason in one.reasons)
    return render_page(
        "earlier.html", status=status, errors=errors, ticket_id=ticket_id, number=seen.line.number,
        device=d.device(seen.line), sentence=d.stands(seen.line, speak), typed=typed, whats=_whats(seen),
        since=f"Not before {speak.when(last)}: that is when the last step was" if last else "",
        reasons=[{"code": one, "label": d.staff_word("staff_reason", one)} for one in reasons],
    )  # fmt: skip


def _whats(seen: TicketView) -> list[dict[str, Any]]:
    """Every step that is allowed now, giving it back where it is ready, and each part that is still missing."""
    steps = [
        {"code": GIVEN_BACK if one.event == GIVEN_BACK else f"{one.to}:{one.outcome}", "label": _label(one, seen)}
        for one in seen.moves if one.event not in ("left_behind", "handover_undone") and not one.anyway
    ]  # fmt: skip
    came = [{"code": f"{CAME}{one.part_id}", "label": f"The part came in: {one.name}"}
            for one in seen.parts if one.state in ("needed", "ordered")]  # fmt: skip
    return [*steps, *came]


def _label(one: Any, seen: TicketView) -> str:
    return "Given back to its owner" if one.event == GIVEN_BACK else str(says.move(one, seen)["label"])

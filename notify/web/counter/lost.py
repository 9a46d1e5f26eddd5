"""A lost claim ticket at the counter: a code to the stored contact, read out and typed, makes the new ticket."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.flows import contact_codes, desk_notes, holds, lost_ticket
from notify.flows.contact_codes import WrongCode
from notify.flows.view_lost import LostView, view_lost
from notify.web import carry
from notify.web.counter import desk_words as d
from notify.web.counter.scan import SCAN
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, problems_of, redirect_with, render_page, say

pages = Blueprint("lost_desk", __name__)


@pages.get("/visits/<visit_id>/lost")
def show(visit_id: str) -> Response:
    """Where a code would go, and the field for it once it was sent."""
    return _page(view_lost(ctx(), current_actor(), visit_id))


@pages.post("/visits/<visit_id>/lost")
def act(visit_id: str) -> Response:
    """Sends a code, checks one, or notes how staff made sure: for a new ticket, or after a changed contact."""
    what = request.form.get("do", "check")
    try:
        if what == "send":
            sent = contact_codes.send_code(ctx(), current_actor(), visit_id, purpose=lost_ticket.PURPOSE)
            return redirect_with(f"/visits/{visit_id}/lost", f"A code is going to {sent.masked}.")
        if what == "lift":
            holds.lift_hold(ctx(), current_actor(), visit_id, checked=request.form.get("checked", ""))
            return redirect_with(f"/visits/{visit_id}/lost", "Noted. The claim ticket is enough again.")
        if what == "renew":
            return _renew_checked(visit_id)
        return _renew(visit_id)
    except (Invalid, WrongCode, NotAllowed) as error:
        return _page(view_lost(ctx(), current_actor(), visit_id), errors=problems_of(error), status=422)
    except Conflict as error:
        return redirect_with(f"/visits/{visit_id}/lost", str(error))


def _renew(visit_id: str) -> Response:
    """The new claim counts as shown at the desk, and how it came about goes with it."""
    done = lost_ticket.renew(ctx(), current_actor(), visit_id, typed=request.form.get("code", ""))
    at = ctx().clock().isoformat()
    carry.put(SCAN, {"visit": visit_id, "token": done.token, "at": at, "since": at, "how": "contact_code"})
    what = "ticket is" if done.count == 1 else f"{done.count} tickets are"
    return redirect_with(
        f"/visits/{visit_id}/handover", f"The code is right. The old claim {what} void; a new one can be printed."
    )


def _renew_checked(visit_id: str) -> Response:
    count = desk_notes.replace_after_check(ctx(), current_actor(), visit_id, checked=request.form.get("sure", ""))
    what = "ticket was" if count == 1 else f"{count} tickets were"
    return redirect_with(
        f"/visits/{visit_id}", f"The old claim {what} replaced. Print anew; old codes open nothing now."
    )


def _page(seen: LostView, *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    return render_page(
        "lost_desk.html", status=status, errors=errors, visit_id=seen.visit_id, person=seen.person,
        numbers=list(seen.numbers), masked=seen.masked, asked=seen.asked, trouble=_trouble(seen),
        held=f"An address or number was changed {d.at(say(), seen.hold.since)}." if seen.hold else "",
        checked=request.form.get("checked", ""), sure=request.form.get("sure", ""),
    )  # fmt: skip


def _trouble(seen: LostView) -> str:
    if seen.state in ("given_up", "dropped"):
        return f"The code did not arrive: {d.word('message_reason', seen.reason)}."
    return "The code has not left yet; renew this page in a moment." if seen.state == "waiting" else ""

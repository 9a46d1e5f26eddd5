"""A visit just taken in, and its code to photograph."""

from __future__ import annotations

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.core.roles import may
from notify.core.tickets import OPEN_PHASES
from notify.flows.view_ticket_print import claim_code
from notify.flows.view_visit import ReachView, VisitView, view_visit
from notify.render.qr import qr_svg
from notify.web.counter import lines
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page, say
from notify.web.say import Say

pages = Blueprint("visits", __name__)
_BY = {"sms": "by text message to {address}", "email": "by e-mail to {address}"}


@pages.get("/visits/<visit_id>")
def show(visit_id: str) -> Response:
    """What was taken in, what to print, and how the customer will hear from us."""
    visit, speak = view_visit(ctx(), current_actor(), visit_id), say()
    has_claim = visit.devices[0].has_claim
    return render_page(
        "checked_in.html", here="check_in", visit_id=visit_id, person=visit.person, reach=reach_sentence(visit),
        tickets=[{**lines.slip(device, speak), "offer": _offer(visit, device.id, speak)} for device in visit.devices],
        reissue=_may_reissue(visit), qr_src=f"/visits/{visit_id}/qr.svg" if has_claim else "",
        qr_help=_qr_help(len(visit.devices)),
    )  # fmt: skip


def _offer(visit: VisitView, ticket_id: str, speak: Say) -> dict[str, str] | None:
    """A time to promise before the paper is printed; None with a promise, and when no time can be named."""
    at = visit.suggested.get(ticket_id)
    return {"promise": speak.for_input(at), "label": f"Promise {speak.when(at)}"} if at else None


def _may_reissue(visit: VisitView) -> bool:
    return may(current_actor().role, "reissue") and any(one.phase in OPEN_PHASES for one in visit.devices)


def _qr_help(devices: int) -> str:
    if not ctx().public_url:
        return "The customer may photograph this and show it when collecting; it opens no page."
    what = "the claim page" if devices == 1 else "the claim page of all these devices"
    return f"The customer may photograph this. It opens {what}."


def reach_sentence(visit: VisitView) -> str:
    """How this customer hears from us; when by nothing, that somebody will have to call."""
    who = visit.told or visit.person or "The customer"
    ways = [_BY[one.channel].format(address=one.address) for one in visit.reach if _is_used(one)]
    resting = [one.address for one in visit.reach if one.rests]
    said = f"{who} hears from us {' and '.join(ways)}." if ways else (
        f"{who} cannot be written to: there is no address or number that we may use. What must be said becomes a call."
    )  # fmt: skip
    return said + (f" {resting[0]} is in a device left with us and not used until it is back." if resting else "")


def _is_used(way: ReachView) -> bool:
    return bool(way.purposes) and not way.rests


@pages.get("/visits/<visit_id>/qr.svg")
def qr(visit_id: str) -> Response:
    """The claim code of the visit's first ticket, black on white."""
    code, number = claim_code(ctx(), current_actor(), visit_id)
    return Response(qr_svg(code, title=f"Claim code for {number}"), mimetype="image/svg+xml")

"""Choose a pickup time, move to another, give it up."""

from __future__ import annotations

import hashlib

from flask import Blueprint, make_response, render_template, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.slots import Taken
from notify.flows import pickup
from notify.flows.claims import open_claim
from notify.flows.view_slots import SlotsView, read_slot, view_slots
from notify.web.claim.frame import base, go_to, opens_claim, speech
from notify.web.here import ctx, customer_actor

pages = Blueprint("claim_slots", __name__)


@pages.get("/c/<token>/slots")
@opens_claim
def show(token: str) -> Response:
    """The free times; pressing one takes it."""
    view = view_slots(ctx(), token, speech())
    action = f"/c/{token}/" + ("move" if view.moving else "book")
    page = render_template(
        "slots.html", **base(view.language, token=token), number=view.number, moving=view.moving,
        back_href=f"/c/{token}", slot_action=action, is_ready=view.is_ready, days=_days(view), once=ctx().new_id(),
    )  # fmt: skip
    return make_response(page)


def _days(view: SlotsView) -> list[dict[str, object]]:
    return [
        {
            "label": day.label, "free": day.free, "open": day.is_open,
            "times": [{"value": time.value, "label": time.label, "last": time.is_last} for time in day.times],
        }
        for day in view.days
    ]  # fmt: skip


@pages.post("/c/<token>/book")
@opens_claim
def book(token: str) -> Response:
    """Takes a place. A double click, or the same form sent again, takes one place only."""
    return _take(token)


@pages.post("/c/<token>/move")
@opens_claim
def move(token: str) -> Response:
    """Takes another place and gives the old one up; when the new one is gone, the old one stays."""
    return _take(token)


def _take(token: str) -> Response:
    claim, typed = open_claim(ctx(), token), request.form.get("slot", "")
    try:
        local, fold = read_slot(typed)
        booking = pickup.book(
            ctx(), customer_actor(), claim.visit_id, local, fold=fold, once=_once(claim.visit_id, typed)
        )
    except Taken:
        return go_to(token, "taken", page="/slots")
    except (Invalid, ValueError):
        return go_to(token, "gone", page="/slots")
    except Conflict:
        return go_to(token, "not_ready")
    return go_to(token, "booked" if booking.revision == 0 else "moved")


def _once(visit_id: str, slot: str) -> str:
    """The key under which this press of this form counts once; none for a form that carries no mark."""
    mark = request.form.get("once", "")[:64]
    return hashlib.sha256(f"{visit_id}|{mark}|{slot}".encode()).hexdigest()[:40] if mark else ""


@pages.post("/c/<token>/cancel")
@opens_claim
def cancel(token: str) -> Response:
    """Gives the place up; pressing it twice is no fault."""
    claim = open_claim(ctx(), token)
    try:
        pickup.cancel(ctx(), customer_actor(), claim.visit_id)
    except NotFound:
        return go_to(token)
    return go_to(token, "cancelled")

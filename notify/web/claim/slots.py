"""Choose a pickup time, move to another, give it up."""

from __future__ import annotations

from flask import Blueprint, make_response, render_template, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.slots import Taken
from notify.flows import pickup
from notify.flows.claims import open_claim
from notify.flows.view_slots import read_slot, view_slots
from notify.web.claim.frame import base, go_to, opens_claim, speech
from notify.web.here import ctx, customer_actor
from notify.web.times import days_of, once

pages = Blueprint("claim_slots", __name__)


@pages.get("/c/<token>/slots")
@opens_claim
def show(token: str) -> Response:
    """The free times; pressing one takes it."""
    view = view_slots(ctx(), token, speech())
    action = f"/c/{token}/" + ("move" if view.moving else "book")
    page = render_template(
        "slots.html", **base(view.language, token=token), number=view.number, moving=view.moving,
        back_href=f"/c/{token}", slot_action=action, is_ready=view.is_ready, days=days_of(view), once=ctx().new_id(),
        together=view.together, soonest=view.soonest, full=view.full,
    )  # fmt: skip
    return make_response(page)


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
        booking = pickup.book(ctx(), customer_actor(), claim.visit_id, local, fold=fold, once=once())
    except Taken:
        return go_to(token, "taken", page="/slots")
    except pickup.UsedKey:
        return go_to(token, "old_list", page="/slots")
    except (Invalid, ValueError):
        return go_to(token, "gone", page="/slots")
    except Conflict:
        return go_to(token, "not_ready")
    if booking.state != "booked" or booking.local_start != f"{local:%Y-%m-%dT%H:%M}":
        return go_to(token)  # an old request again: the page says how things stand
    return go_to(token, "booked" if booking.revision == 0 else "moved")


@pages.post("/c/<token>/cancel")
@opens_claim
def cancel(token: str) -> Response:
    """Gives the place up; pressing it twice is no fault."""
    claim = open_claim(ctx(), token)
    try:
        booking = pickup.cancel(ctx(), customer_actor(), claim.visit_id, once=once())
    except NotFound:
        return go_to(token)
    return go_to(token, "cancelled" if booking.state == "cancelled" else "")

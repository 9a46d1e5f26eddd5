"""A pickup time for somebody at the counter or on the phone: the free times, and taking, moving or giving up one."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.flows import pickup
from notify.flows.hits import TOLD
from notify.flows.view_slots import view_slots_at_desk
from notify.flows.view_visit import view_visit
from notify.web.access import safe_next
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.counter.hits import chosen_slot, why
from notify.web.here import ctx, current_actor, services
from notify.web.pages import redirect_with, render_page, say
from notify.web.times import days_of, once

pages = Blueprint("visit_book", __name__)


@pages.get("/visits/<visit_id>/book")
def show(visit_id: str) -> Response:
    """The free times; pressing one takes it, as on the customer's page."""
    words = services().page_words.get("en")
    seen = view_slots_at_desk(ctx(), current_actor(), visit_id, words)
    asked = request.args.get("why", "")
    return render_page(
        "desk_slots.html", here="pickups", number=seen.number, visit_href=f"/visits/{visit_id}",
        is_ready=seen.is_ready, moving=seen.moving, together=seen.together, soonest=seen.soonest, full=seen.full,
        days=days_of(seen), w={"slots": {"last": words["slots.last"]}}, action=f"/visits/{visit_id}/book",
        back=safe_next(request.args.get("back", "")) or ("/pickups/hit" if asked in TOLD else f"/visits/{visit_id}"),
        once=ctx().new_id(), why=asked if asked in TOLD else "",
    )  # fmt: skip


@pages.post("/visits/<visit_id>/book")
def book(visit_id: str) -> Response:
    """Takes, moves or gives up a pickup; giving up has a button of its own."""
    view_visit(ctx(), current_actor(), visit_id)  # a visit that is not ours is no refusal but nothing at all
    back = back_to("/pickups")
    try:
        if request.form.get("give_up"):
            done = pickup.cancel(ctx(), current_actor(), visit_id, why=why() or "you_asked", once=once())
        else:
            local, fold = chosen_slot()
            done = pickup.book(ctx(), current_actor(), visit_id, local, fold=fold, once=once(), why=why())
    except NotifyError as error:
        return redirect_with(back, d.plain(error))
    return redirect_with(back, pickup.say_outcome(done, d.at(say(), done.start_at)))

"""What the buttons of a ticket's page do about keeping its data longer: set a reason, look again, end it."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.flows import data_holds
from notify.flows.view_ticket import view
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter.ticket import page
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with

pages = Blueprint("hold_posts", __name__)


@pages.post("/tickets/<ticket_id>/hold")
def hold(ticket_id: str) -> Response:
    """Sets a hold for the ticket's visit, or with `do` says that one still holds or ends it."""
    typed = {name: request.form.get(name, "") for name in ("reason", "note", "review_on")}
    which, do = request.form.get("hold", ""), request.form.get("do", "")
    try:
        said = _do(ticket_id, typed, which, do)
    except NotifyError as error:
        named = {"review_on": f"again-{which}"} if do else {name: f"hold-{name}" for name in typed}
        kept = {} if do else {"hold": {**typed, "open": True}}
        return page(ticket_id, errors=d.problems(error, named), status=422, typed=kept)
    return redirect_with(f"/tickets/{ticket_id}", said)


def _do(ticket_id: str, typed: dict[str, str], which: str, do: str) -> str:
    if do == "end":
        data_holds.end_hold(ctx(), current_actor(), which)
        return "It is settled: the data go when their own time is over."
    day = fields.day(typed["review_on"], field="review_on")
    if do == "review":
        return f"It still holds. Look again on {data_holds.review_hold(ctx(), current_actor(), which, day)}."
    visit_id = view(ctx(), current_actor(), ticket_id).line.visit_id
    data_holds.set_hold(ctx(), current_actor(), visit_id, typed["reason"], note=typed["note"], review_on=day)
    return "These data are kept until it is settled."

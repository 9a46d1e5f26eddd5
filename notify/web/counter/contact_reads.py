"""The access log for the owner, and the press that shows one address or number of a ticket in clear."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotFound
from notify.flows import contact_reads as flow
from notify.web.counter import desk_words as d
from notify.web.counter.fields import page_number
from notify.web.counter.ticket import page as ticket_page
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page, say

pages = Blueprint("contact_reads", __name__)
PLACES = {
    "day_sheet": "on the day sheet", "calls": "in the list of calls", "pickups": "in the pickups",
    "hits": "among pickups that no longer fit", "replies": "in the replies", "sources": "in a change of another system",
    "paper": "on the printed day sheet", "ticket": "on the ticket", "api": "by the API",
    "copy": "in a copy of their data", "letters": "in the demo's mail",
    "request": "while a request was looked up",
}  # fmt: skip


@pages.get("/contact-reads")
def show() -> Response:
    """One page of the log, the newest first."""
    number = page_number(request.args.get("page", ""))
    found, speak = flow.view(ctx(), current_actor(), page=number), say()
    return render_page(
        "contact_reads.html", here="settings",
        lines=[
            {"when": speak.when(one.at), "who": one.by, "place": PLACES[one.place],
             "times": f"{one.times} times" if one.times > 1 else "once",
             "numbers": ", ".join(one.numbers) or "no ticket"}
            for one in found.lines
        ],
        newer_href=f"/contact-reads?page={number - 1}" if number > 1 else "",
        older_href=f"/contact-reads?page={number + 1}" if found.has_older else "",
    )  # fmt: skip


@pages.post("/tickets/<ticket_id>/contact/show")
def show_contact(ticket_id: str) -> Response:
    """The ticket with one address or number in clear, for this once; the look is noted."""
    contact_id = request.form.get("contact", "")[:36]
    try:
        address = flow.show_contact(ctx(), current_actor(), ticket_id, contact_id)
    except NotFound as error:
        return ticket_page(ticket_id, refused=d.plain(error), status=404)
    return ticket_page(ticket_id, typed={"shown": {contact_id: address}})

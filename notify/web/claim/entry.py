"""The booked pickup as a file for a calendar: GET /c/<token>/pickup.ics. Looking changes nothing."""

from __future__ import annotations

from flask import Blueprint, make_response
from werkzeug.wrappers import Response

from notify.flows.view_entry import NothingBooked, view_entry
from notify.web.claim.frame import message_page, opens_claim, speech
from notify.web.here import ctx

pages = Blueprint("claim_entry", __name__)


@pages.get("/c/<token>/pickup.ics")
@opens_claim
def show(token: str) -> Response:
    """A calendar file (RFC 5545 8.1) to keep; kind words when there is no pickup to put into it."""
    try:
        answer = make_response(view_entry(ctx(), token, speech()))
    except NothingBooked as nothing:
        return message_page("nothing_booked", nothing.language, status=404)
    answer.headers["Content-Type"] = "text/calendar; charset=utf-8"
    answer.headers["Content-Disposition"] = 'attachment; filename="pickup.ics"'
    return answer

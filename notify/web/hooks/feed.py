"""The shop's own calendar: GET /feeds/<secret>.ics, for calendar programs. Looking changes nothing."""

from __future__ import annotations

from flask import Blueprint, g, make_response, request
from werkzeug.wrappers import Response

from notify.flows.claims import count_guess
from notify.flows.view_feed import view_feed
from notify.web.headers import ASK_AGAIN
from notify.web.here import ctx, services, shop_id

pages = Blueprint("feed", __name__)


@pages.get("/feeds/<feed>.ics")
def show(feed: str) -> Response:
    """The calendar, or 304 for a reader that has it already (RFC 9110 13.1.2)."""
    if not g.get("feed"):
        return _unknown()
    file = view_feed(ctx(), shop_id(), services().words.get)
    answer = make_response(file.octets)
    answer.headers["Content-Type"] = "text/calendar; charset=utf-8"
    answer.headers["Content-Disposition"] = 'inline; filename="pickups.ics"'
    answer.headers["Cache-Control"] = ASK_AGAIN
    answer.set_etag(file.tag)
    return answer.make_conditional(request)


def _unknown() -> Response:
    """404 for any secret that is none, a revoked one too; 429 once too many came from one source."""
    limit = services().settings.limits.claim_tries_an_hour
    wait = count_guess(ctx(), shop_id(), request.remote_addr or "", limit=limit, kind="feed")
    answer = make_response("There is no calendar at this address. It may have been revoked.\n", 429 if wait else 404)
    answer.headers["Content-Type"] = "text/plain; charset=utf-8"
    if wait:
        answer.headers["Retry-After"] = str(wait)
    return answer

"""The scan field on every page: opens what a claim code, a claim number or a part's label stands for."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotAllowed, NotFound
from notify.core.scan import Scan, read_scan
from notify.flows.handover import find_claim
from notify.flows.view_lookup import find_part, find_ticket
from notify.web import carry
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with

pages = Blueprint("scan", __name__)
REPLACED = (
    "This claim code opens nothing here: it was replaced, or it belongs to another shop. Ask for the newest claim "
    "ticket, or open the claim number and check who it is."
)
SCAN = "scan"  # what carry.py keeps of a scanned claim: {visit, token, at}


@pages.post("/scan")
def scan() -> Response:
    """Goes on to what was scanned, or back to the day sheet with the reason why not. Changes nothing."""
    found = read_scan(request.form.get("scan", ""), base_url=ctx().public_url.rstrip("/"))
    try:
        return _open(found)
    except (NotAllowed, NotFound) as error:
        return redirect_with("/", scan_said=str(error))


def _open(found: Scan) -> Response:
    if found.kind == "claim":
        try:
            ticket = find_claim(ctx(), current_actor(), found.value)
        except NotFound:
            return redirect_with("/", scan_said=REPLACED)
        carry.put(SCAN, {"visit": ticket.visit_id, "token": found.value, "at": ctx().clock().isoformat()})
        return redirect_with(f"/visits/{ticket.visit_id}/handover")
    if found.kind == "number":
        return redirect_with(f"/tickets/{find_ticket(ctx(), current_actor(), found.value).ticket_id}")
    if found.kind == "part":
        part_id = find_part(ctx(), current_actor(), found.value, states=())
        return redirect_with(f"/deliveries#part-{part_id}")
    return redirect_with("/", scan_said=found.advice or "This code is not known here.")

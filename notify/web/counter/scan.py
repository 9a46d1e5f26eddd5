"""The scan field on every page: opens what a claim code, a pass, a claim number, a label or a packing slip is."""

from __future__ import annotations

from urllib.parse import urlencode

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotAllowed, NotFound
from notify.core.scan import Scan, read_scan
from notify.flows.desk_secret import WrongSecret, find_pass_visit
from notify.flows.handover import find_claim
from notify.flows.pads import blank_number
from notify.flows.view_deliveries import named
from notify.flows.view_lookup import find_part, find_ticket
from notify.web import carry
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with

pages = Blueprint("scan", __name__)
REPLACED = (
    "This claim code opens nothing here: it was replaced, or it belongs to another shop. Ask for the newest claim "
    "ticket, or open the claim number and check who it is."
)
# What carry.py keeps of what was shown: {visit, at (when), since (when this customer's turn began)} and token or pass;
# `how` is contact_code when the token was just issued anew against a code.
SCAN = "scan"


@pages.post("/scan")
def scan() -> Response:
    """Goes on to what was scanned, or back to the day sheet with the reason why not.

    Changes nothing, except that a pass that counts no more is written down at its visit. A replaced claim code is not
    counted here: nothing is kept that tells whose it was. The desk of a visit, where one is named, counts it.
    """
    found = read_scan(request.form.get("scan", ""), base_url=ctx().public_url.rstrip("/"))
    try:
        return _open(found)
    except WrongSecret as wrong:
        return redirect_with(f"/visits/{wrong.visit_id}/handover", scan_said=str(wrong))
    except (NotAllowed, NotFound) as error:
        return _of_a_delivery(found) or redirect_with("/", scan_said=str(error))


def _of_a_delivery(found: Scan) -> Response | None:
    """The box that a packing slip, an order number or an article names, if something on order has it."""
    if not found.codes or not named(ctx(), current_actor(), found.codes):
        return None
    code = next(one for one in found.codes if named(ctx(), current_actor(), [one]))
    return redirect_with(f"/deliveries/box?{urlencode({'code': code})}")


def remember(visit_id: str, found: Scan) -> None:
    """Keeps a right claim secret or pass for the desk of its visit."""
    now = ctx().clock().isoformat()
    what = {"pass": found.value} if found.kind == "pass" else {"token": found.value}
    carry.put(SCAN, {"visit": visit_id, "at": now, "since": now, **what})


def _open(found: Scan) -> Response:
    if found.kind == "claim":
        try:
            ticket = find_claim(ctx(), current_actor(), found.value)
        except NotFound:
            return _on_paper(blank_number(ctx(), current_actor(), token=found.value), REPLACED)
        remember(ticket.visit_id, found)
        return redirect_with(f"/visits/{ticket.visit_id}/handover")
    if found.kind == "pass":
        visit_id = find_pass_visit(ctx(), current_actor(), found.value)
        remember(visit_id, found)
        return redirect_with(f"/visits/{visit_id}/handover")
    if found.kind == "number":
        try:
            return redirect_with(f"/tickets/{find_ticket(ctx(), current_actor(), found.value).ticket_id}")
        except NotFound as error:
            return _on_paper(blank_number(ctx(), current_actor(), number=found.value), str(error))
    if found.kind == "part":
        part_id = find_part(ctx(), current_actor(), found.value, states=())
        return redirect_with(f"/deliveries#part-{part_id}")
    advice = found.advice or "This code is not known here."
    return _of_a_delivery(found) or redirect_with("/", scan_said=advice)


def _on_paper(number: str, otherwise: str) -> Response:
    """On to check-in with the number of a pad's ticket; or back with what is wrong."""
    return redirect_with(f"/check-in?pad={number}" if number else "/", scan_said="" if number else otherwise)

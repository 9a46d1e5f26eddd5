"""Passes at the counter: given to the bringer in person, shown once to be photographed, taken back."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.claim_number import show_pass_code
from notify.core.errors import Conflict, Invalid, NotFound
from notify.flows import passes
from notify.flows.view_passes import pass_scans
from notify.render.qr import qr_svg
from notify.web import carry
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, render_page, say

pages = Blueprint("passes", __name__)
_GIVEN = "pass"  # what carry.py keeps of a pass just given: {visit, code, until}


@pages.post("/visits/<visit_id>/passes")
def give(visit_id: str) -> Response:
    """Opens a pass for whoever the bringer names at the counter."""
    desk = f"/visits/{visit_id}/handover"
    try:
        given = passes.give(ctx(), current_actor(), visit_id, name=request.form.get("delegate", ""))
    except (Invalid, Conflict) as error:
        return redirect_with(desk, str(error))
    until = say().when(given.expires_at)
    carry.put(_GIVEN, {"visit": visit_id, "code": given.code, "until": until})
    return redirect_with(f"/visits/{visit_id}/pass")


@pages.get("/visits/<visit_id>/pass")
def show(visit_id: str) -> Response:
    """The pass just given in this session, for some minutes."""
    given = _given(visit_id)
    return render_page(
        "pass_given.html", qr_src=f"/visits/{visit_id}/pass.svg", letters=show_pass_code(given["code"]),
        until=given["until"], back_href=f"/visits/{visit_id}/handover",
    )  # fmt: skip


@pages.get("/visits/<visit_id>/pass.svg")
def code(visit_id: str) -> Response:
    """Its code as an image."""
    return Response(qr_svg(pass_scans(ctx(), _given(visit_id)["code"]), title="Pass"), mimetype="image/svg+xml")


def _given(visit_id: str) -> dict[str, str]:
    kept: dict[str, str] = carry.look(_GIVEN) or {}
    if kept.get("visit") != visit_id:
        raise NotFound("No pass is to be shown here", "A pass is shown once. Take it back and give a new one.")
    return kept


@pages.post("/visits/<visit_id>/passes/revoke")
def revoke(visit_id: str) -> Response:
    """Takes a pass back."""
    passes.revoke(ctx(), current_actor(), visit_id, request.form.get("pass", ""))
    return redirect_with(f"/visits/{visit_id}/handover", "The pass is taken back.")

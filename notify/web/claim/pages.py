"""The claim page and its code. Looking changes nothing: mail scanners open every link."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, g, make_response, render_template, request
from werkzeug.wrappers import Response

from notify.flows.claim_shown import ClaimView, Pickup
from notify.flows.claims import open_claim
from notify.flows.view_claim import view_claim
from notify.flows.view_passes import PassPart
from notify.render.qr import qr_svg
from notify.web.claim.frame import base, opens_claim, speech
from notify.web.claim.kept import kept_pages
from notify.web.claim.unlocked import is_unlocked
from notify.web.here import ctx

pages = Blueprint("claim", __name__)


@pages.get("/c/<token>")
@opens_claim
def show(token: str) -> Response:
    """One sentence that answers, one action, and the story."""
    claim = open_claim(ctx(), token, found=g.get("claim"))
    # After a form the page says one sentence more, once: such a page is not worth keeping.
    # Nor is one that shows what only this browser may see.
    unlocked = is_unlocked(token)
    pages, now = kept_pages() if not request.query_string and not unlocked else None, ctx().clock()
    page = pages.find(token, claim.stamp, now=now) if pages is not None else None
    if page is None:
        view = view_claim(ctx(), token, speech(), found=claim, unlocked=unlocked)
        shared = base(view.language, token=token, door=view.door)
        page = render_template("claim.html", **shared, **_context(view, token)).encode()
        if pages is not None:
            pages.keep(token, claim.stamp, page, now=now, ends=view.ends)
    return make_response(page)


@pages.get("/c/<token>/qr.svg")
@opens_claim
def code(token: str) -> Response:
    """The claim code as an image, for the counter's scanner."""
    open_claim(ctx(), token)
    answer = make_response(qr_svg(ctx().claim_code(token)))
    answer.mimetype = "image/svg+xml"
    return answer


def _context(view: ClaimView, token: str) -> dict[str, Any]:
    home = f"/c/{token}"
    return {
        "number": view.number, "mark_name": view.mark, "sentence": view.sentence, "expect": view.expect,
        "cautions": list(view.cautions),
        "devices": [{"number": d.number, "mark": d.mark, "sentence": d.sentence} for d in view.devices],
        "questions": [
            {"id": q.id, "device": "", "wording": q.wording, "price": q.price, "until": q.until,
             "options": [{"code": code, "label": label} for code, label in q.options],
             "code_action": f"{home}/send-code" if q.by_code else ""}
            for q in view.questions
        ],
        "answered": [{"id": a.id, "sentence": a.sentence, "can_take_back": a.can_take_back} for a in view.answered],
        "pickup": _pickup(view.pickup, home) if view.pickup else None, "show_code": view.show_code,
        "qr_src": f"{home}/qr.svg", "answer_action": f"{home}/answer", "cancel_action": f"{home}/cancel",
        "stop_action": f"{home}/stop",
        "story": [{"when": step.when, "sentence": step.sentence} for step in view.story],
        "collectors": list(view.collectors), "passes": _passes(view.passes, home),
        "contacts": [
            {"id": c.id, "sentence": c.sentence, "can_stop": c.can_stop, "can_stop_asking": c.can_stop_asking}
            for c in view.contacts
        ],
        "known": view.known, "rights_href": f"{home}/rights",
    }  # fmt: skip


def _passes(part: PassPart, home: str) -> dict[str, Any]:
    return {
        "open": [{"id": one.id, "sentence": one.sentence} for one in part.open], "asked": part.asked,
        "may_ask": part.may_ask, "ask_action": f"{home}/passes", "confirm_action": f"{home}/passes/confirm",
        "revoke_action": f"{home}/passes/revoke",
    }  # fmt: skip


def _pickup(pickup: Pickup, home: str) -> dict[str, str]:
    return {
        "state": pickup.state, "sentence": pickup.sentence, "slots_href": f"{home}/slots", "place": pickup.place,
        "once": pickup.once, "calendar_href": f"{home}/pickup.ics" if pickup.to_come else "",
    }  # fmt: skip

"""A code to the stored contact, asked for on the claim page and typed there: then this browser sees the price."""

from __future__ import annotations

from flask import Blueprint, make_response, redirect, render_template, request
from werkzeug.wrappers import Response

from notify.core.errors import Invalid, NotAllowed, TooOften
from notify.flows import contact_codes
from notify.flows.claims import open_claim
from notify.flows.contact_codes import WrongCode
from notify.flows.view_lost import code_goes_to
from notify.store.claims import Claim
from notify.web.claim.frame import base, go_to, opens_claim
from notify.web.claim.unlocked import unlock
from notify.web.here import ctx, customer_actor, services

pages = Blueprint("claim_code", __name__)
PURPOSE = "price"


@pages.post("/c/<token>/send-code")
@opens_claim
def send(token: str) -> Response:
    """Sends a code; the page after it asks for it."""
    claim = open_claim(ctx(), token)
    try:
        contact_codes.send_code(
            ctx(), customer_actor(), claim.visit_id, purpose=PURPOSE, source=request.remote_addr or ""
        )
    except TooOften:
        return go_to(token, "code_too_often", page="/code")
    except NotAllowed:
        return go_to(token, "no_code")
    return go_to(token, "code_sent", page="/code")


@pages.get("/c/<token>/code")
@opens_claim
def show(token: str) -> Response:
    """Where the code went, and the field for it."""
    return _page(open_claim(ctx(), token), token)


@pages.post("/c/<token>/code")
@opens_claim
def check(token: str) -> Response:
    """The right code leads back to the claim page, which now shows the price."""
    claim = open_claim(ctx(), token)
    try:
        contact_codes.prove(
            ctx(), customer_actor(), claim.visit_id, purpose=PURPOSE, typed=request.form.get("code", "")
        )
    except Invalid:
        return _page(claim, token, problem="malformed", status=422)
    except WrongCode:
        return _page(claim, token, problem="wrong", status=422)
    answer = make_response(redirect(f"/c/{token}?said=code_right", code=303))
    unlock(answer, token)
    return answer


def _page(claim: Claim, token: str, *, problem: str = "", status: int = 200) -> Response:
    w = services().page_words.get(claim.language)
    masked, asked = code_goes_to(ctx(), claim.shop_id, claim.visit_id, PURPOSE)
    sentence = w("code.sent_to", address=masked) if asked and masked else w["code.none_sent"]
    page = render_template(
        "code.html", **base(claim.language, token=token), title=w["code.title"], sentence=sentence,
        label=w["code.label"], problem=w[f"code.{problem}"] if problem else "", number="",
        check_action=f"/c/{token}/code", send_action=f"/c/{token}/send-code" if masked else "",
        back_href=f"/c/{token}", back_label=w["page.back"],
    )  # fmt: skip
    return make_response(page, status)

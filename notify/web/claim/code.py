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
    said = send_code(open_claim(ctx(), token), PURPOSE)
    return go_to(token, said, page="" if said == "no_code" else "/code")


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
        return _page(claim, token, problem="malformed")
    except WrongCode:
        return _page(claim, token, problem="wrong")
    answer = make_response(redirect(f"/c/{token}?said=code_right", code=303))
    unlock(answer, token)
    return answer


def _page(claim: Claim, token: str, *, problem: str = "") -> Response:
    masked, asked = code_goes_to(ctx(), claim.shop_id, claim.visit_id, PURPOSE)
    unsent = "" if asked and masked else "code.none_sent"
    return code_page(claim, token, masked, title="code.title", unsent=unsent, problem=problem)


def send_code(claim: Claim, purpose: str) -> str:
    """Sends a code to the stored contact; what there is to say: code_sent, code_too_often or no_code."""
    try:
        contact_codes.send_code(
            ctx(), customer_actor(), claim.visit_id, purpose=purpose, source=request.remote_addr or ""
        )
    except TooOften:
        return "code_too_often"
    except NotAllowed:
        return "no_code"
    return "code_sent"


def code_page(
    claim: Claim, token: str, masked: str, *, title: str, unsent: str = "", at: str = "", sent: bool = True,
    problem: str = "",
) -> Response:  # fmt: skip
    """The field for a code that went to the contact `masked`, in the part `at` of the claim page.

    `title` is a key of the page words, `unsent` the one that is said while no code went out, `problem` one of [code]:
    then the answer is 422. Where `sent` is false there is only the button that sends one.
    """
    w, here = services().page_words.get(claim.language), f"/c/{token}{at}"
    page = render_template(
        "code.html", **base(claim.language, token=token), title=w[title],
        sentence=w[unsent] if unsent else w("code.sent_to", address=masked), label=w["code.label"],
        problem=w[f"code.{problem}"] if problem else "", number="", sent=sent, check_action=f"{here}/code",
        send_action=f"{here}/send-code" if masked else "", back_href=f"/c/{token}", back_label=w["page.back"],
    )  # fmt: skip
    return make_response(page, 422 if problem else 200)

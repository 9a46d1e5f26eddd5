"""What a customer decides on the claim page: an answer, an address to leave alone, a language."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, NotAllowed, NotFound
from notify.core.notices import CONSENT_PURPOSES, EVERY_PURPOSE
from notify.flows import questions, reach
from notify.flows.claims import open_claim
from notify.flows.view_claim import view_claim
from notify.web.claim.frame import go_to, opens_claim, speech
from notify.web.claim.unlocked import is_unlocked
from notify.web.here import ctx, customer_actor

pages = Blueprint("claim_actions", __name__)
TAKE_BACK = "take_back"


@pages.post("/c/<token>/answer")
@opens_claim
def answer(token: str) -> Response:
    """One tap answers a question of this link's own ticket, or takes a yes back."""
    claim = open_claim(ctx(), token)
    question, said = request.form.get("question", ""), request.form.get("answer", "")
    try:
        if said == TAKE_BACK:
            questions.take_back(ctx(), customer_actor(), question, ticket_id=claim.ticket_id)
            return go_to(token, "taken_back")
        questions.answer(ctx(), customer_actor(), question, answer=said, ticket_id=claim.ticket_id,
                         price_shown=is_unlocked(token))  # fmt: skip
    except (Conflict, NotFound):
        return go_to(token, "too_late")
    except NotAllowed:
        return go_to(token, "no_taking_back" if said == TAKE_BACK else "too_late")
    return go_to(token, "answered")


@pages.post("/c/<token>/stop")
@opens_claim
def stop(token: str) -> Response:
    """Stops every use of one address or number of those who are told, or only what they had to agree to."""
    view = view_claim(ctx(), token, speech())
    wanted = request.form.get("contact", "")
    found = next((contact for contact in view.contacts if contact.id == wanted), None)
    if found is None:
        raise NotFound("There is no such address here", "Open the claim page again.")
    only = request.form.get("only", "") in CONSENT_PURPOSES
    if found.can_stop_asking if only else found.can_stop:
        reach.set_use(
            ctx(), customer_actor(), view.visit_id, found.person_id, channel=found.channel,
            purposes=CONSENT_PURPOSES if only else EVERY_PURPOSE, allowed=False, how="claim_page",
        )  # fmt: skip
    return go_to(token, "stopped_asking" if only else "stopped")


@pages.post("/c/<token>/language")
@opens_claim
def language(token: str) -> Response:
    """Switches the language of this page and of what is written about this visit."""
    claim = open_claim(ctx(), token)
    reach.set_visit_language(ctx(), customer_actor(), claim.visit_id, language=request.form.get("language", ""))
    return go_to(token, "language")

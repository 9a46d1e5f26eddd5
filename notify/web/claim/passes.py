"""Somebody else collects: named on the claim page, confirmed by a code, shown on a page of its own that is sent on."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote

from flask import Blueprint, g, make_response, redirect, render_template, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, TooOften
from notify.flows import passes
from notify.flows.claims import open_claim
from notify.flows.view_passes import PassView, pass_counts, pass_link, pass_scans, view_pass
from notify.render.moments import Moments
from notify.render.qr import qr_svg
from notify.store.passes import Found
from notify.web.claim.frame import base, go_to, message_page, opens_claim, unknown_secret
from notify.web.errors import asked_language
from notify.web.here import ctx, customer_actor, services

pages = Blueprint("claim_passes", __name__)


@pages.post("/c/<token>/passes")
@opens_claim
def ask(token: str) -> Response:
    """Names somebody; a code goes to the stored contact."""
    claim = open_claim(ctx(), token)
    try:
        passes.ask(ctx(), customer_actor(), claim.visit_id, name=request.form.get("delegate", ""),
                   source=request.remote_addr or "")  # fmt: skip
    except Invalid:
        return go_to(token, "pass_no_name")
    except TooOften:
        return go_to(token, "pass_too_often")
    except NotAllowed:
        return go_to(token, "pass_no_contact")
    except Conflict:
        return go_to(token, "pass_full")
    return go_to(token, "pass_asked")


@pages.post("/c/<token>/passes/confirm")
@opens_claim
def confirm(token: str) -> Response:
    """The code was typed: on to the page of the pass, which shows it this once to whoever gave it."""
    claim = open_claim(ctx(), token)
    try:
        given = passes.confirm(ctx(), customer_actor(), claim.visit_id, typed=request.form.get("code", ""))
    except (Invalid, NotAllowed):
        return go_to(token, "pass_wrong_code")
    except Conflict:
        return go_to(token, "pass_gone")
    return redirect(f"/p/{given.code}?given=1", code=303)


@pages.post("/c/<token>/passes/revoke")
@opens_claim
def revoke(token: str) -> Response:
    """Takes a pass back."""
    claim = open_claim(ctx(), token)
    passes.revoke(ctx(), customer_actor(), claim.visit_id, request.form.get("pass", ""))
    return go_to(token, "pass_revoked")


@pages.get("/p/<code>")
def show(code: str) -> Response:
    """What whoever collects shows at the counter. It opens nothing else, and says nothing about anybody."""
    return _with_pass(code, _show)


@pages.get("/p/<code>/qr.svg")
def image(code: str) -> Response:
    """The code for the counter's scanner."""
    return _with_pass(code, lambda _: Response(qr_svg(pass_scans(ctx(), code)), mimetype="image/svg+xml"))


def _with_pass(code: str, answer: Callable[[str], Response]) -> Response:
    found: Found | None = g.get("pass_found")
    if found is None:
        return unknown_secret("pass_unknown")
    if not pass_counts(ctx(), found):
        return message_page("pass_over", asked_language(), status=410)
    try:
        return answer(code)
    except NotFound:
        return message_page("pass_over", asked_language(), status=410)


def _show(code: str) -> Response:
    language = asked_language()
    words = services().page_words.get(language)
    view = view_pass(ctx(), g.pass_found, code, words)
    return make_response(render_template(
        "pass.html", **base(language, door=view.door), numbers=list(view.numbers), letters=view.letters,
        until=words("pass.page_until", when=Moments(words, view.zone, ctx().clock()).at(view.until)),
        qr_src=f"/p/{code}/qr.svg", **_sending(view, code, language),
    ))  # fmt: skip


def _sending(view: PassView, code: str, language: str) -> dict[str, str]:
    """For whoever gave it: the address to send on, and links that begin a mail or a text with it."""
    link = pass_link(ctx(), code) if request.args.get("given") == "1" else ""
    words = services().page_words.get(language)
    text = quote(f"{words('pass.sent_on', shop=view.door.shop.name)} {link}")
    return {
        "link": link, "mail_href": f"mailto:?subject={quote(view.door.shop.name)}&body={text}" if link else "",
        "text_href": f"sms:?&body={text}" if link else "",
    }  # fmt: skip

"""What we keep about you: behind a code to the stored contact, for a quarter of an hour, in this browser only."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from flask import Blueprint, make_response, redirect, render_template, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.instants import noon
from notify.core.requests import DONE, OPEN, REFUSED, Kind
from notify.core.retention import Rule
from notify.flows import contact_codes, requests
from notify.flows.claims import Forgotten, open_claim
from notify.flows.contact_codes import WrongCode
from notify.flows.keeping import Fate
from notify.flows.requests import PURPOSE
from notify.flows.view_lost import code_goes_to
from notify.flows.view_rights import RightsView, contacts_now, reader_of, view_rights
from notify.render.held_says import say_held
from notify.render.keeping_says import after_handback
from notify.render.moments import Moments
from notify.render.words import Language
from notify.store.claims import Claim
from notify.store.requests import Request
from notify.web.claim.code import code_page, send_code
from notify.web.claim.frame import base, go_to, opens_claim
from notify.web.claim.unlocked import proved_by, unlock
from notify.web.here import ctx, customer_actor, services

pages = Blueprint("claim_rights", __name__)
HERE = "/rights"


@pages.get("/c/<token>/rights")
@opens_claim
def show(token: str) -> Response:
    """The field for the code, or everything once it was typed."""
    claim = open_claim(ctx(), token)
    contact_id = _opened_by(claim, token)
    return _locked(claim, token) if contact_id is None else _page(_view(claim, contact_id), token)


@pages.post("/c/<token>/rights/send-code")
@opens_claim
def send(token: str) -> Response:
    """Sends a code to the stored contact."""
    return go_to(token, f"rights_{send_code(open_claim(ctx(), token), PURPOSE)}", page=HERE)


@pages.post("/c/<token>/rights/code")
@opens_claim
def check(token: str) -> Response:
    """The right code opens the page in this browser."""
    claim, typed = open_claim(ctx(), token), request.form.get("code", "")
    try:
        contact_id = contact_codes.prove(ctx(), customer_actor(), claim.visit_id, purpose=PURPOSE, typed=typed)
    except Invalid:
        return _locked(claim, token, problem="malformed")
    except WrongCode:
        return _locked(claim, token, problem="wrong")
    answer = make_response(redirect(f"/c/{token}{HERE}", code=303))
    unlock(answer, token, PURPOSE, about=contacts_now(ctx(), claim), contact_id=contact_id)
    return answer


def opened(view: Callable[[str, Claim], Response]) -> Callable[[str], Response]:
    """Wraps what needs a typed code: without one it leads to the page that asks for it."""

    @opens_claim
    @wraps(view)
    def answer(token: str) -> Response:
        claim = open_claim(ctx(), token)
        return view(token, claim) if _opened_by(claim, token) is not None else go_to(token, page=HERE)

    return answer


@pages.post("/c/<token>/rights/ask")
@opened
def ask(token: str, claim: Claim) -> Response:
    """Takes in what they ask."""
    try:
        requests.ask(ctx(), customer_actor(), claim.visit_id, reader_of(ctx(), claim), proved=True, how="claim_page",
                     kind=request.form.get("kind", ""), note=request.form.get("note", ""))  # fmt: skip
    except Invalid:
        return go_to(token, "rights_no_words", page=HERE)
    except Conflict:
        return go_to(token, "rights_full", page=HERE)
    except NotFound as gone:
        raise Forgotten(claim.language) from gone
    return go_to(token, "rights_asked", page=HERE)


@pages.post("/c/<token>/rights/withdraw")
@opened
def withdraw(token: str, claim: Claim) -> Response:
    """Takes one of their own requests back."""
    try:
        requests.withdraw(ctx(), customer_actor(), request.form.get("request", ""), person_id=reader_of(ctx(), claim))
    except (Conflict, NotFound):
        return go_to(token, "rights_gone", page=HERE)
    return go_to(token, "rights_withdrawn", page=HERE)


@pages.post("/c/<token>/rights/copy")
@opened
def copy(token: str, claim: Claim) -> Response:
    """A copy for a program (flows/held_about says its shape): taking one is a request, looking at the page is none."""
    try:
        held = requests.take_copy(ctx(), customer_actor(), claim.visit_id, _opened_by(claim, token) or "")
    except NotFound as gone:
        raise Forgotten(claim.language) from gone
    answer = make_response(json.dumps(held, ensure_ascii=False, indent=2))
    answer.mimetype = "application/json"
    answer.headers["Content-Disposition"] = 'attachment; filename="what-we-keep.json"'
    return answer


def _opened_by(claim: Claim, token: str) -> str | None:
    """The contact that the code went to which opened the page in this browser; None where none did."""
    return proved_by(token, PURPOSE, about=contacts_now(ctx(), claim))


def _view(claim: Claim, contact_id: str) -> RightsView:
    try:
        return view_rights(ctx(), claim, services().page_words.get(claim.language), contact_id)
    except NotFound as gone:
        raise Forgotten(claim.language) from gone


def _locked(claim: Claim, token: str, *, problem: str = "") -> Response:
    masked, asked = code_goes_to(ctx(), claim.shop_id, claim.visit_id, PURPOSE)
    unsent = "" if asked and masked else "rights.locked" if masked else "rights.no_contact"
    return code_page(claim, token, masked, title="rights.title", unsent=unsent, at=HERE, sent=asked or bool(problem),
                     problem=problem)  # fmt: skip


def _page(view: RightsView, token: str) -> Response:
    w, home = services().page_words.get(view.language), f"/c/{token}{HERE}"
    moments = Moments(w, view.shop.zone, view.now)
    sections = say_held(view.held, w, services().words.get, moments)
    page = render_template(
        "rights.html", **base(view.language, token=token, door=view.door), kept=_kept(view, w, moments),
        sections=[{"title": one.title, "rows": one.rows} for one in sections], copy_action=f"{home}/copy",
        asked=[
            _asked(one, w, moments, view.against)
            for one in view.requests
            if one.kind is not Kind.ACCESS or one.state == OPEN
        ],
        ask_action=f"{home}/ask", withdraw_action=f"{home}/withdraw", against=_against(view.against, w),
        back_href=f"/c/{token}",
    )  # fmt: skip
    return make_response(page)


def _kept(view: RightsView, w: Language, moments: Moments) -> str:
    """What becomes of it; nothing where their own wish, told below, goes before the shop's rule."""
    return "" if any(one.will_erase for one in view.requests) else say_kept(view.fate, view.rule, w, moments)


def say_kept(found: Fate, rule: Rule, w: Language, moments: Moments) -> str:
    """What becomes of it, in one sentence."""
    if found.reasons:
        return w("rights.goes_kept", reasons=say_reasons(found.reasons, w))
    if found.state == "running" and found.goes_on:
        return w("rights.goes", day=moments.day(noon(found.goes_on)))
    if found.state == "open":
        return w("rights.goes_open", after=after_handback(rule, services().words.get(w.code)))
    return w["rights.goes_tonight"]


def say_reasons(codes: tuple[str, ...], w: Language) -> str:
    """Why something is kept, in words."""
    return w["rights.and"].join(w[f"rights_why.{code}"] for code in codes)


def _against(codes: tuple[str, ...], w: Language) -> str:
    return w("rights.erasure_against", reasons=say_reasons(codes, w)) if codes else ""


def _asked(one: Request, w: Language, moments: Moments, against: tuple[str, ...]) -> dict[str, Any]:
    return {
        "id": one.id, "title": w[f"rights_kind.{one.kind}"], "when": moments.stamp(one.received_at),
        "sentence": _stands(one, w, moments, against), "can_withdraw": one.state == OPEN or one.in_force,
    }  # fmt: skip


def _stands(one: Request, w: Language, moments: Moments, against: tuple[str, ...]) -> str:
    if one.state == REFUSED:
        return f"{w('rights.refused', reason=w[f'rights_reason.{one.reason}'])} {w['rights.complain']}"
    if one.kind is Kind.RESTRICTION and one.state == DONE:
        return w["rights.state_set_aside" if one.in_force else "rights.state_lifted"]
    if one.state != OPEN:
        return w[f"rights.state_{one.state}"]
    if one.proved_at is None:
        return w["rights.unproved"]
    if one.will_erase and against:
        return _against(against, w)
    if one.rests_until is not None:
        return w("rights.erase_after", when=moments.stamp(one.rests_until))
    return w("rights.answer_by", day=moments.day(noon(one.last_day)))

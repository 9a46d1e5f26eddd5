"""Proof that a form came from our own page: a token bound to the session, the claim link or a form cookie."""

from __future__ import annotations

import hashlib
import hmac

from flask import Flask, Response, g, request
from werkzeug.exceptions import BadRequest

from notify.config.settings import Web
from notify.web.here import ctx, services, signed_in
from notify.web.hosts import own_origins
from notify.web.routes import UNSAFE, WITHOUT_FORM_TOKEN
from notify.web.sessions import cookie_name, set_cookie

FORM_COOKIE = "shelfbell-form"
FORM_SECONDS = 12 * 3600
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz23456789"


class Stale(BadRequest):
    """The form was not ours, or the page was open too long."""


def protect_forms(app: Flask, web: Web) -> None:
    """Refuses every unsafe request without the right token or from another site; gives pages their form cookie."""

    @app.before_request
    def check() -> None:
        rule = request.url_rule
        if rule is None or request.method not in UNSAFE or rule.rule in WITHOUT_FORM_TOKEN:
            return
        if not _from_own_page(web) or not _token_fits(web):
            raise Stale

    @app.after_request
    def keep(response: Response) -> Response:
        fresh = g.get("form_secret")
        if fresh:
            set_cookie(response, web, FORM_COOKIE, fresh, seconds=FORM_SECONDS)
        return response


def form_token() -> str:
    """The hidden field `csrf_token` of a form on this page. A page without session or claim link gets a cookie."""
    bound = _bound_to() or f"form:{_form_secret()}"
    return _sign(bound)


def _bound_to() -> str:
    """A claim page stays the customer's, even in a browser where somebody of the staff is signed in."""
    claim = (request.view_args or {}).get("token", "")
    if claim:
        return f"claim:{claim}"
    person = signed_in()
    return f"session:{person.secret}" if person is not None else ""


def _form_secret() -> str:
    web = services().settings.web
    kept = g.get("form_secret") or request.cookies.get(cookie_name(FORM_COOKIE, web), "")
    if len(kept) != 32:
        kept = g.form_secret = "".join(_LETTERS[ctx().pick(len(_LETTERS))] for _ in range(32))
    return str(kept)


def _token_fits(web: Web) -> bool:
    sent = request.form.get("csrf_token", "")
    bound = _bound_to()
    if not bound:
        kept = request.cookies.get(cookie_name(FORM_COOKIE, web), "")
        bound = f"form:{kept}" if len(kept) == 32 else ""
    return bool(bound) and hmac.compare_digest(sent.encode(), _sign(bound).encode())


def _sign(bound: str) -> str:
    return hmac.new(services().secret, f"csrf:{bound}".encode(), hashlib.sha256).hexdigest()


def _from_own_page(web: Web) -> bool:
    """What the browser says about where the form was. Our pages send no referrer, so their Origin is "null"."""
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("Origin", "null").lower()
    return origin == "null" or origin in own_origins(web)

"""Staff sessions: the cookie holds a secret, the database its hash; ended on the server, not by forgetting a cookie."""

from __future__ import annotations

from flask import Flask, g, request
from werkzeug.wrappers import Response

from notify.config.settings import Web
from notify.flows import staff
from notify.flows.staff import ABSOLUTE, SignedIn
from notify.web.api.operations import API
from notify.web.here import ctx

NAME = "shelfbell"
BY_ITSELF = "Shelfbell-By-Itself"  # header of what an open page asks, whether anybody is there or not


def cookie_name(name: str, web: Web) -> str:
    """Behind TLS with the prefix __Host-, which ties the cookie to this host and to https (RFC 6265bis)."""
    return f"__Host-{name}" if web.behind_tls else name


def find_person(app: Flask, web: Web) -> None:
    """Before each page: looks up who is signed in, and their shop, into `g`. Files need nobody."""

    @app.before_request
    def look_up() -> None:
        g.signed_in = None
        if "HTTP_COOKIE" not in request.environ or request.path.startswith(API):
            return  # most customers; and scripts, whom no cookie lets in
        kept = request.cookies.get(cookie_name(NAME, web), "")
        shop_id, _, secret = kept.partition(".")
        if request.endpoint == "static" or not secret or not shop_id:
            return
        g.signed_in = staff.who(ctx(), shop_id, secret, at_work=not by_itself())
        g.shop_id = shop_id if g.signed_in else None


def by_itself() -> bool:
    """Whether an open page asks, and not a person."""
    return BY_ITSELF in request.headers


def begin(response: Response, web: Web, shop_id: str, person: SignedIn) -> Response:
    """Gives the browser its session."""
    set_cookie(response, web, NAME, f"{shop_id}.{person.secret}", seconds=int(ABSOLUTE.total_seconds()))
    return response


def end(response: Response, web: Web) -> Response:
    """Takes the cookie away; the caller has ended the session on the server."""
    set_cookie(response, web, NAME, "", seconds=0)
    return response


def set_cookie(response: Response, web: Web, name: str, value: str, *, seconds: int) -> None:
    """Every cookie of this service is set here: no script reads it, no other site sends it."""
    response.set_cookie(
        cookie_name(name, web), value, max_age=seconds, path="/", secure=web.behind_tls, httponly=True, samesite="Lax"
    )

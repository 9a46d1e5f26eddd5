"""Enforces the written list of routes: who may use which, before any view runs."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

from flask import Flask, abort, g, redirect, request
from werkzeug.wrappers import Response

from notify.core.claim_number import is_pass_code, is_token
from notify.core.errors import Misconfigured
from notify.core.one_click import read_stop_token
from notify.flows.feeds import find_feed
from notify.flows.stop_by_link import find
from notify.flows.view_desk import claim_behind
from notify.flows.view_passes import find_pass
from notify.web.api.door import open_door
from notify.web.here import ctx, current_actor, is_demo, services, signed_in
from notify.web.hooks.proof import refuse_hook
from notify.web.hooks.signed import refuse_signed
from notify.web.routes import ROUTES, UNSAFE, Access

_PLAIN = re.compile(r"/[A-Za-z0-9/_.\-]*(\?[A-Za-z0-9=&_\-]*)?")


def guard_routes(app: Flask) -> None:
    """Runs before each page. A route that is not in the list is a fault of ours and answers 500."""

    @app.before_request
    def guard() -> Response | None:
        if request.url_rule is None:
            return None  # there is no such page or method: the answer is on its way
        access = ROUTES.get(request.url_rule.rule)
        if access is None or request.method not in access.methods | _safe(access):
            raise Misconfigured("This page is not in the list of routes", "Add it to notify/web/routes.py.")
        return _refuse(access)


def _safe(access: Access) -> frozenset[str]:
    return frozenset({"HEAD", "OPTIONS"}) if "GET" in access.methods else frozenset({"OPTIONS"})


def _refuse(access: Access) -> Response | None:
    if access.who == "public":
        return None
    if access.who == "hook":
        return refuse_hook()
    if access.who == "signed":
        return refuse_signed()
    if access.who == "token":
        open_door()
        return None
    if access.who == "claim":
        _find_claim()
        return None
    if access.who == "letter":
        _find_reader()
        return None
    if access.who == "pass":
        _find_pass()
        return None
    if access.who == "feed":
        _find_feed()
        return None
    if access.who == "demo" and not is_demo():
        abort(404)
    if signed_in() is None:
        return _to_sign_in()
    current_actor().need(access.permission or "look")
    return None


def _find_claim() -> None:
    """Which shop the claim link belongs to; an unknown one is told so by the customer's own page."""
    token = str((request.view_args or {}).get("token", ""))
    g.claim_token = token if is_token(token) else ""
    g.claim = claim_behind(ctx(), g.claim_token)
    g.shop_id = g.claim.shop_id if g.claim else None


def _find_reader() -> None:
    """Whom the link of a mail names; one that we did not make is told so by the page."""
    use = read_stop_token(str((request.view_args or {}).get("link", "")), key=services().secret)
    reader = find(ctx(), use) if use else None
    g.stop_link = (use, reader) if reader else None
    g.shop_id = reader.shop_id if reader else None


def _find_feed() -> None:
    """Which shop the secret of a feed belongs to; an unknown one is told so by the page."""
    found = find_feed(ctx(), str((request.view_args or {}).get("feed", "")))
    g.shop_id, g.feed = found or (None, None)


def _find_pass() -> None:
    """Which shop a pass belongs to; an unknown one is told so by the page."""
    code = str((request.view_args or {}).get("code", ""))
    g.pass_found = find_pass(ctx(), code if is_pass_code(code) else "")
    g.shop_id = g.pass_found.shop_id if g.pass_found else None


def _to_sign_in() -> Response:
    if request.method in UNSAFE:
        abort(401)
    address = request.full_path.rstrip("?")
    return redirect(f"/sign-in?next={address}" if address != "/" and safe_next(address) else "/sign-in", code=303)


def safe_next(address: str) -> str:
    """The address to go on to after signing in if it is a plain one of our own pages, else ""."""
    if not _PLAIN.fullmatch(address) or address.startswith("//") or urlsplit(address).netloc:
        return ""
    return address

"""Whether this browser has shown a code lately: then prices above the shop's limit are shown, for a quarter of an hour.

The cookie holds a time and a keyed proof over it and the claim secret: it opens nothing for another link, nothing in
another browser, and nothing once the link was replaced. Nothing is kept on the server, and no page made so.
"""

from __future__ import annotations

import hashlib
import hmac
from datetime import timedelta

from flask import Response, request

from notify.web.here import ctx, services
from notify.web.sessions import cookie_name, set_cookie

NAME = "shelfbell-code"
LASTS = timedelta(minutes=15)


def is_unlocked(token: str) -> bool:
    """Whether the cookie proves it for this claim secret, and its time is not over."""
    kept = request.cookies.get(cookie_name(NAME, services().settings.web), "")
    until, _, proof = kept.partition(".")
    if not until.isascii() or not until.isdigit() or len(until) > 12:
        return False
    now = int(ctx().clock().timestamp())
    return now < int(until) <= now + LASTS.total_seconds() and hmac.compare_digest(proof.encode(), _proof(token, until))


def unlock(response: Response, token: str) -> None:
    """Gives the browser its cookie."""
    until = str(int((ctx().clock() + LASTS).timestamp()))
    value = f"{until}.{_proof(token, until).decode()}"
    set_cookie(response, services().settings.web, NAME, value, seconds=int(LASTS.total_seconds()))


def _proof(token: str, until: str) -> bytes:
    key = hmac.new(services().secret, b"unlocked", hashlib.sha256).digest()
    return hmac.new(key, f"{token}:{until}".encode(), hashlib.sha256).hexdigest().encode()

"""Whether this browser has shown a code lately: then more is shown, for a quarter of an hour.

A code for `price` shows prices above the shop's limit, one for `rights` what is held about its reader.

The cookie holds a time and a keyed proof over it and the claim secret: it opens nothing for another link, nothing in
another browser, and nothing once the link was replaced; for `rights` also nothing once a contact was. Nothing is kept
on the server, and no page made so.
"""

from __future__ import annotations

import hashlib
import hmac
from datetime import timedelta

from flask import Response, request

from notify.web.here import ctx, services
from notify.web.sessions import cookie_name, set_cookie

NAME = "shelfbell-code"
PRICE = "price"
LASTS = timedelta(minutes=15)


def is_unlocked(token: str, purpose: str = PRICE, *, about: str = "") -> bool:
    """Whether the cookie proves it for this claim secret and purpose, and its time is not over.

    `about` is what must be as it was when the code was typed, such as which contacts are stored.
    """
    return proved_by(token, purpose, about=about) is not None


def proved_by(token: str, purpose: str = PRICE, *, about: str = "") -> str | None:
    """The contact that the typed code went to, "" where the cookie names none; None where nothing is proved."""
    kept = request.cookies.get(cookie_name(_name(purpose), services().settings.web), "")
    until, _, rest = kept.partition(".")
    proof, _, contact_id = rest.partition(".")
    if not until.isascii() or not until.isdigit() or len(until) > 12:
        return None
    now = int(ctx().clock().timestamp())
    right = hmac.compare_digest(proof.encode(), _proof(token, until, purpose, f"{about}:{contact_id}"))
    return contact_id if right and now < int(until) <= now + LASTS.total_seconds() else None


def unlock(response: Response, token: str, purpose: str = PRICE, *, about: str = "", contact_id: str = "") -> None:
    """Gives the browser its cookie."""
    until = str(int((ctx().clock() + LASTS).timestamp()))
    value = f"{until}.{_proof(token, until, purpose, f'{about}:{contact_id}').decode()}.{contact_id}"
    set_cookie(response, services().settings.web, _name(purpose), value, seconds=int(LASTS.total_seconds()))


def _name(purpose: str) -> str:
    return NAME if purpose == PRICE else f"shelfbell-{purpose}"


def _proof(token: str, until: str, purpose: str, about: str) -> bytes:
    key = hmac.new(services().secret, f"unlocked:{purpose}".encode(), hashlib.sha256).digest()
    return hmac.new(key, f"{token}:{until}:{about}".encode(), hashlib.sha256).hexdigest().encode()

"""What is kept between two pages of one signed-in person: the last scan, and a sentence said once after a redirect.

It travels in a short-lived cookie encrypted under a key derived from the web secret and bound to the session, so
that neither address nor log nor database ever holds it, and another browser cannot use it.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from datetime import datetime, timedelta
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from flask import Flask, Response, g, request

from notify.config.settings import Web
from notify.web.here import ctx, services, signed_in
from notify.web.sessions import cookie_name, set_cookie

NAME = "shelfbell-once"
LASTS = timedelta(minutes=10)
_NONCE = 12


def carry_between_pages(app: Flask, web: Web) -> None:
    """After each page: writes the cookie anew when something was put in or taken out."""

    @app.after_request
    def write(response: Response) -> Response:
        if g.get("carried_changed"):
            value = _seal(g.carried) if g.carried and signed_in() else ""
            set_cookie(response, web, NAME, value, seconds=int(LASTS.total_seconds()) if value else 0)
        return response


def put(key: str, value: Any) -> None:
    """Keeps a small JSON value under `key` for at most ten minutes."""
    _load()[key] = {"value": value, "at": ctx().clock().isoformat()}
    g.carried_changed = True


def look(key: str) -> Any:
    """The value under `key` if it is fresh, else None; it stays."""
    kept = _load().get(key)
    if kept is None or not timedelta(0) <= ctx().clock() - datetime.fromisoformat(kept["at"]) <= LASTS:
        return None
    return kept["value"]


def take(key: str) -> Any:
    """The value under `key` if it is fresh, else None; it is gone afterwards."""
    value = look(key)
    if _load().pop(key, None) is not None:
        g.carried_changed = True
    return value


def _load() -> dict[str, Any]:
    if "carried" not in g:
        kept = request.cookies.get(cookie_name(NAME, services().settings.web), "")
        g.carried = _open(kept) if kept and signed_in() else {}
    carried: dict[str, Any] = g.carried
    return carried


def _key() -> AESGCM:
    return AESGCM(hmac.new(services().secret, b"carry", hashlib.sha256).digest())


def _bound() -> bytes:
    person = signed_in()
    return hashlib.sha256(f"carry:{person.secret if person else ''}".encode()).digest()


def _seal(carried: dict[str, Any]) -> str:
    nonce = bytes(ctx().pick(256) for _ in range(_NONCE))
    return base64.urlsafe_b64encode(nonce + _key().encrypt(nonce, json.dumps(carried).encode(), _bound())).decode()


def _open(kept: str) -> dict[str, Any]:
    try:
        raw = base64.urlsafe_b64decode(kept.encode())
        carried: dict[str, Any] = json.loads(_key().decrypt(raw[:_NONCE], raw[_NONCE:], _bound()))
    except (InvalidTag, ValueError):
        return {}
    return carried

"""Which names this service answers to, and which addresses count as its own pages."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from flask import Flask, abort, request

from notify.config.settings import Web

MOST_KNOWN = 16


def check_hosts(app: Flask, web: Web) -> None:
    """Refuses (400) a request whose Host is none of ours, before anything else looks at it."""

    known: set[str] = set()  # names found right before; a private network has more of them than are worth keeping

    @app.before_request
    def refuse_strangers() -> None:
        host = request.environ.get("HTTP_HOST", "")
        if host in known:
            return
        if not is_own_host(host, web):
            abort(400, "This address does not belong to this service.")
        if len(known) < MOST_KNOWN:
            known.add(host)


def is_own_host(host: str, web: Web) -> bool:
    """The public address, the bound one and this machine; inside a shop's network also other private numbers.

    A number cannot be rebound to another machine by a name server, so numbers are safe where names are not.
    """
    try:
        parts = urlsplit(f"//{host}")
        name = (parts.hostname or "").rstrip(".")
        parts.port  # noqa: B018 - raises ValueError for a port that is none
    except ValueError:
        return False
    if not name or parts.path or parts.query or parts.fragment or parts.username is not None:
        return False
    if name in {"localhost", web.bind.lower(), (urlsplit(web.public_url).hostname or "").lower()}:
        return True
    try:
        number = ipaddress.ip_address(name)
    except ValueError:
        return False
    return number.is_loopback or (web.plain_lan and number.is_private)


def own_origins(web: Web) -> frozenset[str]:
    """Origins (scheme and host) that forms of our own pages may come from: this request's and the public one."""
    own = {f"{request.scheme}://{request.host}"}
    if web.public_url:
        parts = urlsplit(web.public_url)
        own.add(f"{parts.scheme}://{parts.netloc}")
    return frozenset(origin.lower() for origin in own)

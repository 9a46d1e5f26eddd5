"""Headers of every answer, faults and files included: what a browser may load, keep, frame, tell and index."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from flask import Flask

if TYPE_CHECKING:
    from wsgiref.types import StartResponse, WSGIEnvironment

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; frame-src 'self'; "
    "form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'"
)
# For the HTML part of one e-mail, shown in a frame of our own page: nothing runs, nothing loads, nothing is sent.
LETTER_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'; object-src 'none'; "
    "frame-ancestors 'self'; sandbox"
)
# For what may be kept by its reader alone, and is asked for again each time (RFC 9111 5.2.2.4, 5.2.2.7).
ASK_AGAIN = "private, no-cache"
_CACHE = "Cache-Control"
_CSP = "Content-Security-Policy"
FIXED = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "X-Robots-Tag": "noindex, nofollow",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=()",
}
HSTS = "max-age=31536000"  # a year (OWASP ASVS 5.0.0, 3.4.1); subdomains are not ours to decide


def put_headers(app: Flask, *, behind_tls: bool) -> None:
    """Puts the headers on whatever leaves, last of all. A view may only choose LETTER_POLICY instead of POLICY, and
    ASK_AGAIN instead of keeping nothing.

    As plain pairs around the application: setting them one by one cost a tenth of a page (measured).
    """
    always = [*FIXED.items(), *([("Strict-Transport-Security", HSTS)] if behind_tls else ())]
    page = [*always, (_CSP, POLICY), ("X-Frame-Options", "DENY")]
    letter = [*always, (_CSP, LETTER_POLICY), ("X-Frame-Options", "SAMEORIGIN")]
    kept = [(_CACHE, ASK_AGAIN) if name == _CACHE else (name, value) for name, value in page]
    ours = frozenset(name.lower() for name, _ in page)
    inner = app.wsgi_app

    def answer(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        def begin(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
            others = [pair for pair in headers if pair[0].lower() not in ours]
            own = letter if (_CSP, LETTER_POLICY) in headers else kept if (_CACHE, ASK_AGAIN) in headers else page
            return start_response(status, others + own, exc_info)

        return inner(environ, begin)

    app.wsgi_app = answer  # type: ignore[method-assign]  # Flask's own way to wrap it

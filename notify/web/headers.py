"""Headers of every answer, faults and files included: what a browser may load, keep, frame, tell and index."""

from __future__ import annotations

from flask import Flask, Response

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; frame-src 'self'; "
    "form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'"
)
# For the HTML part of one e-mail, shown in a frame of our own page: nothing runs, nothing loads, nothing is sent.
LETTER_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'; object-src 'none'; "
    "frame-ancestors 'self'; sandbox"
)
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
    """Registers the headers. A view may only choose LETTER_POLICY instead of POLICY."""

    @app.after_request
    def add(response: Response) -> Response:
        letter = response.headers.get("Content-Security-Policy") == LETTER_POLICY
        response.headers["Content-Security-Policy"] = LETTER_POLICY if letter else POLICY
        response.headers["X-Frame-Options"] = "SAMEORIGIN" if letter else "DENY"
        for name, value in FIXED.items():
            response.headers[name] = value
        if behind_tls:
            response.headers["Strict-Transport-Security"] = HSTS
        return response

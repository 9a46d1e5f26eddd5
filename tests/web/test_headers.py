"""The security headers stand on every answer: pages, files, refusals and faults (D4)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from notify.web.headers import LETTER_POLICY
from tests.web.conftest import BASE, HOST, Browser, app_of
from tests.web.every_route import every, fill_house

# OWASP ASVS 5.0.0: 3.4.1 HSTS of a year, 3.4.3 and 3.4.6 policy, 3.4.4 nosniff, 3.4.5 referrer, 14.3.2 no-store.
WANTED = {
    "X-Content-Type-Options": re.compile("nosniff"),
    "Referrer-Policy": re.compile("no-referrer"),
    "Cache-Control": re.compile("no-store"),
    "X-Robots-Tag": re.compile("noindex.*"),
    "Strict-Transport-Security": re.compile(r"max-age=(3153[6-9]\d{3}|[4-9]\d{7,})(;.*)?"),
    "Content-Security-Policy": re.compile(
        r"(?=.*default-src 'none')(?=.*object-src 'none')(?=.*base-uri 'none')(?=.*frame-ancestors '(none|self)').*"
    ),
}


# A feed may be kept by its reader, who asks each time whether it still holds (RFC 9111 5.2.2.4, 5.2.2.7).
FEED = {**WANTED, "Cache-Control": re.compile("private, no-cache")}


def _missing(answer: TestResponse) -> list[str]:
    wanted = FEED if answer.mimetype == "text/calendar" and answer.headers.get("ETag") else WANTED
    wrong = [name for name, value in wanted.items() if not value.fullmatch(answer.headers.get(name, ""))]
    policy = answer.headers.get("Content-Security-Policy", "")
    if "unsafe" in policy and policy != LETTER_POLICY:
        wrong.append("unsafe policy")
    if (answer.mimetype or "").startswith("text/") and answer.mimetype_params.get("charset") != "utf-8":
        wrong.append("charset")
    return wrong


def _answers(app: Flask, browser: Browser, values: dict[str, str]) -> Iterator[tuple[str, TestResponse]]:
    for one in every(app, values):
        yield f"{one.method} {one.path}", browser.open(one.method, one.path)
    extra: list[tuple[str, str, dict[str, Any]]] = [
        ("GET", "/nothing-here", {}),
        ("DELETE", "/check-in", {}),
        ("GET", "/c/wrong", {}),
        ("GET", "/static/../../etc/passwd", {}),
        ("GET", "/nothing-here", {"headers": {"Accept": "application/json"}}),
        ("POST", "/check-in", {"data": {"name": "x" * 2_000_000}}),
        ("GET", "/sign-in", {"headers": {"Host": "evil.example.net"}}),
    ]
    for method, path, options in extra:
        yield f"{method} {path} {options}", browser.open(method, path, **options)


@pytest.mark.long
def test_every_answer_carries_the_headers(house: Any, app: Flask, signed_in: Browser, client: Browser) -> None:
    values, seen, missing = fill_house(house), 0, []
    statuses = set()
    for browser in (client, signed_in):
        for name, answer in _answers(app, browser, values):
            seen += 1
            statuses.add(answer.status_code)
            missing += [f"{name} ({answer.status_code}): {wrong}" for wrong in _missing(answer)]
    print(f"FIGURE headers answers={seen} missing={len(missing)}")
    assert not missing
    assert {200, 303, 400, 404, 405, 413} <= statuses


def test_a_fault_of_ours_carries_the_headers_and_shows_nothing_of_the_inside(house: Any) -> None:
    app = app_of(house.services)

    def broken() -> str:
        raise RuntimeError("secret inside")

    app.view_functions["sign_in.show"] = broken
    for accept in ("text/html", "application/json"):
        answer = app.test_client().get("/sign-in", base_url=BASE, headers={"Accept": accept})
        assert answer.status_code == 500
        assert answer.mimetype == accept
        assert not _missing(answer)
        body = answer.get_data(as_text=True)
        assert "secret inside" not in body
        assert "Traceback" not in body and "sign_in" not in body


def test_a_missing_header_would_be_seen() -> None:
    answer = Flask("bare", static_folder=None).test_client().get("/", base_url=f"https://{HOST}")
    assert set(_missing(answer)) >= set(WANTED)

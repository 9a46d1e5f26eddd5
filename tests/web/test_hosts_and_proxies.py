"""Who may say where a request came from, and which names are ours (D10)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from flask import Request, request, request_started

from notify.config.settings import Web
from notify.web.hosts import is_own_host
from tests.parts.clock import FakeClock
from tests.parts.house import make_house
from tests.web.conftest import Browser, app_of
from tests.web.every_route import every, fill_house

EVIL = "evil.example.net"
SPOOFS: tuple[dict[str, str], ...] = (
    {"X-Forwarded-For": "203.0.113.9"},
    {"X-Forwarded-For": "203.0.113.9, 203.0.113.10"},
    {"X-Forwarded-Host": EVIL},
    {"X-Forwarded-Host": f"{EVIL}, bell.example.org"},
    {"X-Forwarded-Proto": "ftp"},
    {"X-Forwarded-Port": "4444"},
    {"X-Forwarded-Prefix": f"//{EVIL}"},
    {"X-Forwarded-Server": EVIL},
    {"Forwarded": f"for=203.0.113.9;host={EVIL};proto=ftp"},
    {"X-Real-IP": "203.0.113.9"},
    {"X-Original-URL": "/settings"},
    {"X-Rewrite-URL": "/settings"},
    {"X-HTTP-Method-Override": "POST"},
    {"X-Host": EVIL},
    {"X-Forwarded-Ssl": "off"},
    {"Front-End-Https": "off"},
    {"Client-IP": "203.0.113.9"},
    {"True-Client-IP": "203.0.113.9"},
    {"CF-Connecting-IP": "203.0.113.9"},
    {"Via": f"1.1 {EVIL}"},
)


def _seen(app: Any, headers: dict[str, str], *, base: str) -> tuple[Any, ...]:
    """What the application believes about a request with these headers: peer, scheme, host, root, path, method."""
    seen: list[tuple[Any, ...]] = []

    def note(sender: object, **more: object) -> None:
        r: Request = request
        seen.append((r.remote_addr, r.scheme, r.host, r.root_path, r.path, r.method))

    with request_started.connected_to(note, app):
        app.test_client().get("/sign-in", base_url=base, headers=headers)
    return seen[0]


def test_without_a_proxy_nothing_a_client_says_about_itself_is_believed(tmp_path: Path, clock: FakeClock) -> None:
    house = make_house(tmp_path, f"sqlite:///{tmp_path / 'plain.db'}", clock=clock, public_url="")
    app, base = app_of(house.services), "http://127.0.0.1:8600"
    honest = _seen(app, {}, base=base)
    taken = [headers for headers in SPOOFS if _seen(app, headers, base=base) != honest]
    print(f"FIGURE proxy_headers spoofs={len(SPOOFS)} taken={len(taken)}")
    assert honest[:3] == ("127.0.0.1", "http", "127.0.0.1:8600")
    assert not taken
    house.services.close()


def test_behind_one_proxy_only_its_own_last_word_counts(house: Any) -> None:
    app, base = app_of(house.services), "https://bell.example.org"
    honest = _seen(app, {}, base=base)
    peer_only = {"X-Forwarded-For", "X-Forwarded-Proto"}
    for headers in SPOOFS:
        seen = _seen(app, headers, base=base)
        assert seen[2:] == honest[2:], headers
        assert peer_only & set(headers) or seen == honest, headers
    lied = _seen(app, {"X-Forwarded-For": "203.0.113.9, 198.51.100.7"}, base=base)
    assert lied[0] == "198.51.100.7"  # what the proxy added, not what the client sent


@pytest.mark.parametrize(
    "host", [EVIL, f"bell.example.org.{EVIL}", f"bell.example.org@{EVIL}", "", "a b", "192.168.4.10", f"{EVIL}:443"]
)
def test_a_strange_host_is_refused_before_anything_else(host: str, client: Browser) -> None:
    answer = client.get("/sign-in", headers={"Host": host})
    assert answer.status_code == 400
    assert "csrf_token" not in answer.get_data(as_text=True)


@pytest.mark.long
def test_no_page_repeats_a_host_or_proxy_header(house: Any, signed_in: Browser) -> None:
    headers = {"X-Forwarded-Host": EVIL, "X-Forwarded-Prefix": f"/{EVIL}", "X-Original-URL": f"/{EVIL}"}
    for one in every(signed_in.app, fill_house(house), methods=frozenset({"GET"})):
        answer = signed_in.open(one.method, one.path, headers=headers)
        assert EVIL.encode() not in answer.data, one.path
        assert EVIL not in str(answer.headers), one.path


def _web(**more: Any) -> Web:
    values: dict[str, Any] = {
        "bind": "127.0.0.1", "port": 8600, "public_url": "", "trusted_proxies": 0, "behind_tls": False,
        "plain_lan": False, "secret_file": Path("x"), "debug": False,
    }  # fmt: skip
    return Web(**{**values, **more})


@pytest.mark.parametrize(
    ("host", "web", "own"),
    [
        ("127.0.0.1:8600", _web(), True),
        ("localhost", _web(), True),
        ("[::1]:8600", _web(bind="::1"), True),
        ("192.168.4.10:8600", _web(bind="192.168.4.10", plain_lan=True), True),
        ("192.168.4.11", _web(bind="0.0.0.0", plain_lan=True), True),
        ("192.168.4.11", _web(), False),
        ("8.8.8.8", _web(bind="0.0.0.0", plain_lan=True), False),
        ("bell.example.org", _web(public_url="https://bell.example.org"), True),
        ("BELL.example.org.", _web(public_url="https://bell.example.org"), True),
        ("bell.example.org", _web(), False),
        ("localhost:99999", _web(), False),
        ("localhost/x", _web(), False),
    ],
)
def test_names_of_ours_are_the_configured_ones_and_numbers_inside_the_shop(host: str, web: Web, own: bool) -> None:
    assert is_own_host(host, web) is own

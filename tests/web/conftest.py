"""Browsers without a browser: Flask's test client, signed in by a session row, since Argon2 is slow on purpose."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from notify.core.actors import Actor
from notify.flows.staff import ABSOLUTE, session_hash
from notify.render.sandbox import Compiled
from notify.store import staff
from notify.web.app import create_app
from notify.web.here import KEY
from notify.web.sessions import NAME, cookie_name
from notify.wiring import Services

HOST = "bell.example.org"
BASE = f"https://{HOST}"  # the house stands behind a proxy with TLS
TOKEN = re.compile(r'name="csrf_token" value="([0-9a-f]+)"')


class Browser:
    """A test client that keeps cookies and, like a person, sends forms with the token of the page it saw."""

    def __init__(self, app: Flask, *, secret: str = "", shop_id: str = "", staff_id: str = "") -> None:
        self.app = app
        self.http: FlaskClient = app.test_client()
        self.secret, self.shop_id, self.staff_id = secret, shop_id, staff_id
        if secret:
            name = cookie_name(NAME, services_of(app).settings.web)
            self.http.set_cookie(name, f"{shop_id}.{secret}", domain=HOST, secure=name.startswith("__Host-"))

    def open(self, method: str, path: str, **options: Any) -> TestResponse:
        """Any method with the right host, and no token added."""
        return self.http.open(path, method=method, base_url=BASE, buffered=True, **options)

    def get(self, path: str, **options: Any) -> TestResponse:
        """GET with the right host."""
        return self.open("GET", path, **options)

    def post(self, path: str, data: Mapping[str, Any] | None = None, *, seen: str = "", **options: Any) -> TestResponse:
        """POST with the token of the page `seen` (the sign-in page unless signed in: then any page)."""
        token = self.token(seen or ("/who" if self.secret else "/sign-in"))
        return self.open("POST", path, data={"csrf_token": token, **(data or {})}, **options)

    def token(self, path: str) -> str:
        """The form token on a page."""
        found = TOKEN.search(self.get(path).get_data(as_text=True))
        return found[1] if found else ""


COMPILED = Compiled()  # page templates once in a run, for the application of every test


def services_of(app: Flask) -> Services:
    """What the application was made from."""
    services: Services = app.extensions[KEY]
    return services


@pytest.fixture
def app(house: Any) -> Flask:
    """The pages of the house."""
    return make_app(house)


def make_app(house: Any, *, demo: bool = False) -> Flask:
    """The pages as served, which never hide a fault from the tests' log."""
    return app_of(house.services, demo=demo)


def app_of(services: Services, **options: Any) -> Flask:
    """The pages of wired services."""
    made = create_app(services, **options)
    made.jinja_env.bytecode_cache = COMPILED
    return made


@pytest.fixture
def client(app: Flask) -> Browser:
    """Somebody whom nobody knows."""
    return Browser(app)


@pytest.fixture
def signed_in(app: Flask, house: Any) -> Browser:
    """The owner's browser; `house.actor()` acts as the same person."""
    return sign_in(app, house, role="owner")


def sign_in(app: Flask, house: Any, *, role: str, name: str = "") -> Browser:
    """A browser of somebody with this role, by a row in the table of sessions."""
    now, secret = house.clock(), f"session-of-{name or role}".replace(" ", "-").ljust(32, "x")
    with house.ctx.db.write(house.shop_id) as unit:
        person = staff.add_staff(unit, name=name or f"Ada {role}", role=role, password_hash="", pin_hash="", at=now)
        staff.add_session(unit, session_hash=session_hash(secret), staff_id=person, at=now, expires_at=now + ABSOLUTE)
    house.actors[role] = Actor(house.shop_id, "staff", person, role)
    return Browser(app, secret=secret, shop_id=house.shop_id, staff_id=person)

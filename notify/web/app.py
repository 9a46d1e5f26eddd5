"""Make the web application from the wired services: guards first, then every blueprint of customers and shop."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask import Blueprint, Flask
from jinja2 import StrictUndefined
from werkzeug.middleware.proxy_fix import ProxyFix

from notify.web import api, claim, counter, hooks
from notify.web.access import guard_routes
from notify.web.carry import carry_between_pages
from notify.web.claim import kept
from notify.web.csrf import protect_forms
from notify.web.errors import answer_errors
from notify.web.headers import put_headers
from notify.web.here import KEY
from notify.web.hosts import check_hosts
from notify.web.live import answer_unchanged
from notify.web.log import log_answers
from notify.web.sessions import find_person
from notify.wiring import Services

STATIC = Path(__file__).parent / "static"


class Pages(Flask):
    """Flask with a Jinja that refuses what a view forgot."""

    jinja_options = {"undefined": StrictUndefined, "autoescape": True}  # noqa: RUF012 - Flask's own way

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """No page of ours is a coroutine; Flask would ask each guard and view that for every request."""
        return func


def create_app(services: Services, *, demo: bool = False, kept_pages: int = kept.MOST) -> Flask:
    """The WSGI application. Every file of web/api, claim, counter and hooks that has a blueprint `pages` is served.

    With `demo` the page that shows every message to whoever looks is served as well. `kept_pages` is how many
    claim pages are held for the same look again; with 0 each is made anew.
    """
    web, limits = services.settings.web, services.settings.limits
    app = Pages("shelfbell", template_folder=str(services.templates / "pages"), static_folder=str(STATIC))
    app.extensions[KEY] = services
    app.extensions[kept.KEY] = kept.KeptPages(most=kept_pages)
    app.config.update(
        DEMO=demo,
        MAX_CONTENT_LENGTH=limits.body_kilobytes * 1024,
        MAX_FORM_MEMORY_SIZE=limits.body_kilobytes * 1024,
        MAX_FORM_PARTS=limits.form_parts,
        TRAP_HTTP_EXCEPTIONS=False,
        PROPAGATE_EXCEPTIONS=False,
    )
    # In this order: who is served at all, who is asking, is the form ours, may they.
    log_answers(app)
    check_hosts(app, web)
    find_person(app, web)
    protect_forms(app, web)
    guard_routes(app)
    answer_unchanged(app, web)
    # After a page the last registered runs first: the headers come on top of everything.
    put_headers(app, behind_tls=web.behind_tls)
    carry_between_pages(app, web)
    answer_errors(app, services.templates)
    for rooms in (api, claim, counter, hooks):
        for blueprint in blueprints(rooms.__name__, list(rooms.__path__)):
            app.register_blueprint(blueprint)
    if web.trusted_proxies:
        # Only the client's address and the scheme: names of hosts come from the Host header and are checked there.
        app.wsgi_app = ProxyFix(  # type: ignore[method-assign]
            app.wsgi_app, x_for=web.trusted_proxies, x_proto=web.trusted_proxies, x_host=0, x_port=0, x_prefix=0
        )
    return app


def blueprints(package: str, folders: list[str]) -> tuple[Blueprint, ...]:
    """The blueprint `pages` of every file in a folder of pages, by name."""
    names = sorted(module.name for module in pkgutil.iter_modules(folders))
    found = (getattr(importlib.import_module(f"{package}.{name}"), "pages", None) for name in names)
    return tuple(one for one in found if isinstance(one, Blueprint))

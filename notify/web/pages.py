"""Render a page of the shop with everything its head needs, and go on to another page with one sentence to say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import g, make_response, redirect, render_template
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.flows.view_desk import Desk, view_desk, view_shop
from notify.web import carry
from notify.web.csrf import form_token
from notify.web.here import ctx, current_actor, services, shop_id, signed_in
from notify.web.say import Say, say_for
from notify.web.sessions import by_itself

ROLES = {"counter": "at the counter", "technician": "technician", "owner": "owner"}
Problem = dict[str, str]


def desk() -> Desk:
    """The head's facts; read once per request."""
    if "desk" not in g:
        g.desk = view_desk(ctx(), current_actor())
    found: Desk = g.desk
    return found


def say(language: str = "en") -> Say:
    """How this shop says days, times and amounts now."""
    shop = desk().shop if signed_in() else view_shop(ctx(), shop_id())
    return say_for(shop, ctx().clock, language=language)


def render_page(
    template: str, *, here: str = "", status: int = 200, errors: list[Problem] | None = None, **context: Any
) -> Response:
    """A page that extends base_staff.html: `context` plus csrf, shop_name, staff, waiting, notice, undo, scan_said.

    A sentence put aside by `redirect_with` is shown now and then gone. `errors` from `problems_of`.
    """
    whole = {**_head(here), "errors": errors or [], **context}
    return make_response(render_template(template, **whole), status)


def _head(here: str) -> dict[str, Any]:
    person = signed_in()
    head: dict[str, Any] = {"csrf": form_token(), "here": here, "notice": "", "undo": None, "scan_said": ""}
    if person is None:
        name = view_shop(ctx(), shop_id()).name if services().shop_ids() else "Shelfbell"
        return {**head, "shop_name": name, "staff": None, "waiting": {"deliveries": 0, "calls": 0, "replies": 0}}
    facts = desk()
    said = {} if by_itself() else carry.take("said") or {}
    return {
        **head,
        "shop_name": facts.shop.name,
        "staff": {"name": person.name, "role_words": ROLES[person.role]},
        "waiting": {"deliveries": facts.deliveries, "calls": facts.calls, "replies": facts.replies},
        "notice": said.get("notice", ""),
        "undo": said.get("undo"),
        "scan_said": said.get("scan_said", ""),
    }


def redirect_with(
    address: str, notice: str = "", *, undo: Mapping[str, str] | None = None, scan_said: str = ""
) -> Response:
    """303 to a page of our own, which says `notice` once. `undo` is {action, event, label}. For staff only."""
    said = {"notice": notice, "undo": dict(undo) if undo else None, "scan_said": scan_said}
    if any(said.values()):
        carry.put("said", said)
    return redirect(address, code=303)


def problems_of(error: NotifyError, *, fields: Mapping[str, str] | None = None) -> list[Problem]:
    """An error as the list that pages show beside their fields; `fields` renames a flow's field to an input's id."""
    names = fields or {}
    return [{"field": names.get(one.field, one.field), "text": str(one)} for one in error.problems]

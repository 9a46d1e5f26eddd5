"""Tokens for the shop's own scripts: the list, the one form, and the new token, shown once. For owners."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Invalid
from notify.core.roles import SCOPES
from notify.flows import api_tokens
from notify.flows.view_desk import view_shop
from notify.web import carry
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor, services, shop_id
from notify.web.pages import Problem, redirect_with, render_page, say

pages = Blueprint("api_tokens", __name__)
PATH = "/settings/api"
_AT = {"name": "token-name", "scopes": "token-scopes", "expires": "token-until"}


@pages.get(PATH)
def show() -> Response:
    """Every token that was not revoked, and a form for another one."""
    return _page({"name": "", "until": "", "scopes": []})


@pages.post(PATH)
def change() -> Response:
    """Makes a token, which the next page shows once, or revokes one."""
    form = request.form
    typed: dict[str, Any] = {
        "name": form.get("name", ""),
        "until": form.get("until", ""),
        "scopes": form.getlist("scopes"),
    }
    try:
        if form.get("revoke"):
            api_tokens.revoke_token(ctx(), current_actor(), form["revoke"])
            return redirect_with(PATH, "That token opens nothing any more.")
        made = api_tokens.make_token(ctx(), current_actor(), name=typed["name"], scopes=typed["scopes"],
                                     expires_at=_end(typed["until"]))  # fmt: skip
    except Invalid as error:
        return _page(typed, errors=d.problems(error, _AT), status=422)
    carry.put("token", {"name": made.name, "secret": made.secret})
    return redirect_with(PATH)


def _end(typed: str) -> datetime | None:
    """The end of the typed day by the shop's clock; None for an empty one. Raises Invalid."""
    if not typed.strip():
        return None
    try:
        day = date.fromisoformat(typed.strip())
        return datetime.combine(day + timedelta(days=1), time(0), ZoneInfo(view_shop(ctx(), shop_id()).zone))
    except (ValueError, OverflowError):
        raise Invalid("This day cannot be read", "Write it as 2027-03-31.", field="expires") from None


def _page(typed: dict[str, Any], *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    base = services().settings.web.public_url.rstrip("/") or request.host_url.rstrip("/")
    return render_page(
        "api_tokens.html", here="settings", status=status, errors=errors, token=typed, base=base,
        tokens=[_line(one) for one in api_tokens.list_tokens(ctx(), current_actor())],
        scopes=[{"code": code, "label": words, "on": code in typed["scopes"]} for code, (words, _) in SCOPES.items()],
        made=carry.take("token"),
    )  # fmt: skip


def _line(one: api_tokens.Token) -> dict[str, str]:
    speak = say()
    by = f" by {one.by}" if one.by else ""
    used = f"Last used on {one.used_on:%Y-%m-%d}." if one.used_on else "Never used."
    ends = "" if one.expires_at is None else f" It {'ran' if one.ended else 'runs'} out {speak.when(one.expires_at)}."
    return {
        "id": one.id, "name": one.name, "may": "; ".join(SCOPES[scope][0] for scope in one.scopes),
        "sentence": f"Made {speak.when(one.made_at)}{by}. {used}{ends}",
    }  # fmt: skip

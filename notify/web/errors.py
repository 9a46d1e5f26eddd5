"""Every refusal and fault as a page in words, or as JSON when that was asked for; never a traceback."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from flask import Flask, g, jsonify, make_response, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from notify.core.claim_number import is_token
from notify.core.contacts import show_phone
from notify.core.errors import (
    Conflict,
    Invalid,
    Misconfigured,
    NotAllowed,
    NotFound,
    NotifyError,
    TooOften,
    Unavailable,
)
from notify.core.languages import LANGUAGES
from notify.core.shop import Shop, build_shop
from notify.flows.view_desk import view_shop
from notify.flows.view_hours import Door
from notify.store.trouble import trouble_of
from notify.web import log
from notify.web.api.operations import API
from notify.web.api.problems import Refused, kind_of, problem
from notify.web.csrf import Stale, form_token
from notify.web.here import ctx, no_shop_known, services, shop_id, signed_in
from notify.web.pages import problems_of, render_page
from notify.web.routes import ROUTES
from notify.web.shop import choices

STATUS: tuple[tuple[type[NotifyError], int], ...] = (
    (Invalid, 422), (TooOften, 429), (NotAllowed, 403), (NotFound, 404), (Conflict, 409), (Misconfigured, 500),
    (Unavailable, 503),
)  # fmt: skip
# Which words of [error] in page.<language>.toml say it; any other status is a refusal in the error's own words.
WORDS = {404: "missing", 405: "missing", 429: "busy"}
_OWN = {
    400: ("This request cannot be read", "Go back, renew the page and try again."),
    401: ("You are not signed in any more", "Sign in; nothing of what you sent was taken."),
    413: ("That was too much at once", "Shorten what you typed, or send it in parts."),
}


def answer_errors(app: Flask, templates: Path) -> None:
    """Registers the handlers, and reads what they need while the disk is well."""
    app.jinja_env.get_template("unavailable.html")
    for language in LANGUAGES:
        page_words(templates, language)

    @app.errorhandler(NotifyError)
    def told(error: NotifyError) -> Response:
        if isinstance(error, Refused):
            return problem(error.kind, error)
        status = status_of(error)
        if status >= 500:
            log.log_fault(error)
        return _unavailable() if status == 503 else _answer(status, error)

    @app.errorhandler(HTTPException)
    def refused(error: HTTPException) -> Response:
        status = error.code or 500
        if status < 400:
            return error.get_response()
        answer = _answer(status, None, stale=isinstance(error, Stale))
        if status == 405:
            answer.headers["Allow"] = ", ".join(sorted(getattr(error, "valid_methods", None) or ()))
        return answer

    @app.errorhandler(Exception)
    def broken(error: Exception) -> Response:
        log.log_fault(error)
        return _unavailable() if trouble_of(error) else _answer(500, None)


def status_of(error: NotifyError) -> int:
    """The HTTP status for an error class."""
    return next(status for kind, status in STATUS if isinstance(error, kind)) if type(error) is not NotifyError else 400


def page_words(templates: Path, language: str) -> Mapping[str, Any]:
    """The words of customer pages in one language, as the templates' `w`."""
    return _read(templates / "words" / f"page.{language}.toml")


@cache
def _read(file: Path) -> Mapping[str, Any]:
    return tomllib.loads(file.read_text("utf-8"))


def asked_language() -> str:
    """The language to answer in before we know the person: asked by the address, the browser, else English."""
    asked = request.args.get("language", "")
    return asked if asked in LANGUAGES else request.accept_languages.best_match(LANGUAGES) or LANGUAGES[0]


def customer_base(
    language: str, *, notice: str = "", language_action: str = "", door: Door | None = None
) -> dict[str, Any]:
    """What every page that extends base_customer.html needs; with opening hours where the `door` was looked at."""
    w = page_words(services().templates, language)
    shop = door.shop if door else _shop_shown()
    return {
        "language": language, "w": w, "notice": notice, "csrf": form_token(), "language_action": language_action,
        "privacy_href": privacy_href(language),
        "languages": [{"code": one, "label": page_label(one), "here": one == language} for one in LANGUAGES],
        "shop": {"name": shop.name, "phone": show_phone(shop.phone),
                 "phone_href": f"tel:{shop.phone}" if shop.phone else "", "email": shop.email,
                 "address": shop.address, "hours": list(door.hours) if door else []},
    }  # fmt: skip


def _shop_shown() -> Shop:
    """The shop of the request; where it could be any of several, their names only: nobody can be called."""
    if not no_shop_known():
        return view_shop(ctx(), shop_id())
    return build_shop("none", {"name": " · ".join(one["label"] for one in choices(ctx(), services().shop_ids()))})


def privacy_href(language: str, *, shop: str = "") -> str:
    """The page of data protection information of this shop, or of the one that the request is about."""
    known = shop or g.get("shop_id") or ""
    return f"/privacy?language={language}" + (f"&shop={known}" if known else "")


def page_label(language: str) -> str:
    """A language's own name."""
    return services().words.get(language)("language.name")


def _answer(status: int, error: NotifyError | None, *, stale: bool = False) -> Response:
    try:
        return _page(status, error, stale=stale)
    except Exception as second:  # the page of an error names the shop, and the shop may be out of reach by now
        log.log_fault(second)
        return _unavailable()


def _page(status: int, error: NotifyError | None, *, stale: bool) -> Response:
    if request.path.startswith(API):
        return problem(kind_of(status, error), error)
    if _wants_json():
        return _json(status, error, stale=stale)
    if not services().shop_ids():
        return make_response("Shelfbell has no shop yet. Make one with: shelfbell init", status)
    if signed_in() is not None and not _is_customer_page():
        return _desk_page(status, error, stale=stale)
    return _customer_page(status, error, stale=stale)


def _unavailable() -> Response:
    """The page for when the database or its disk fails: made without looking at either."""
    if request.path.startswith(API):
        return problem("unavailable")
    language = asked_language()
    w = page_words(services().templates, language)["error"]
    if _wants_json():
        answer: Response = jsonify({"error": {"what": w["title_unavailable"], "advice": w["unavailable"]}})
    else:
        answer = make_response(render_template("unavailable.html", language=language, w=w))
    answer.status_code = 503
    answer.headers["Retry-After"] = "60"
    return answer


def _wants_json() -> bool:
    return request.accept_mimetypes.best_match(["text/html", "application/json"]) == "application/json"


def _json(status: int, error: NotifyError | None, *, stale: bool) -> Response:
    title, sentence, advice = _said(status, error, stale=stale, language="en")
    body = {"error": {"what": title if error is None else error.what, "advice": advice or sentence}}
    if error is not None and status != 500:
        body["error"]["problems"] = [  # type: ignore[assignment]  # a list beside two texts
            {"what": one.what, "advice": one.advice, "field": one.field} for one in error.problems
        ]
    answer: Response = jsonify(body)
    answer.status_code = status
    return answer


def _is_customer_page() -> bool:
    access = ROUTES.get(request.url_rule.rule) if request.url_rule else None
    return access is not None and access.who in ("claim", "letter", "pass")


def _desk_page(status: int, error: NotifyError | None, *, stale: bool) -> Response:
    title, sentence, advice = _said(status, error, stale=stale, language="en")
    listed = [] if error is None or len(error.problems) < 2 else problems_of(error)
    return render_page("desk_error.html", status=status, title=title, sentence=sentence, advice=advice, problems=listed)


def _customer_page(status: int, error: NotifyError | None, *, stale: bool) -> Response:
    language = asked_language()
    title, sentence, advice = _said(status, error, stale=stale, language=language)
    back, label = ("/sign-in", "Sign in") if status == 401 else _way_back(language)
    page = render_template(
        "error.html", **customer_base(language), title=title, sentence=sentence, advice=advice, back_href=back,
        back_label=label,
    )  # fmt: skip
    return make_response(page, status)


def _way_back(language: str) -> tuple[str, str]:
    """Back to the claim page, for whoever sent a form from there; whether it is a right one, this does not say."""
    token = str((request.view_args or {}).get("token", ""))
    if not (_is_customer_page() and is_token(token)):
        return "", ""
    return f"/c/{token}", str(page_words(services().templates, language)["page"]["back"])


def _said(status: int, error: NotifyError | None, *, stale: bool, language: str) -> tuple[str, str, str]:
    """Title, sentence, advice. Faults of ours never quote their error; known refusals speak for themselves."""
    w = page_words(services().templates, language)["error"]
    key = "stale" if stale else "broken" if status >= 500 else WORDS.get(status, "")
    if error is not None and status < 500 and language == "en":
        return w["title_refused"] if status != 404 else w["title_missing"], error.what.rstrip(".") + ".", error.advice
    if key:
        return w[f"title_{key}"], w[key], ""
    what, advice = _OWN.get(status, _OWN[400])
    return w["title_refused"], f"{what}.", advice

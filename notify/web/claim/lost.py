"""The page for whoever lost their claim ticket: a number in, the same answer for every number, a code, the new page."""

from __future__ import annotations

from flask import Blueprint, make_response, redirect, render_template, request
from werkzeug.wrappers import Response

from notify.core.claim_number import parse_number, show_number
from notify.core.errors import Conflict, Invalid
from notify.flows import lost_ticket
from notify.flows.contact_codes import WrongCode
from notify.flows.lost_ticket import Wait
from notify.web.claim.frame import base, message_page
from notify.web.errors import asked_language
from notify.web.here import ctx, services, shop_id

pages = Blueprint("lost", __name__)


@pages.get("/lost")
def show() -> Response:
    """The field for the claim number."""
    return _ask()


@pages.post("/lost")
def ask() -> Response:
    """Whether the number is ours is not told: the next page asks for the code in any case."""
    try:
        number = lost_ticket.ask(ctx(), shop_id(), request.form.get("number", ""), source=_source(), limit=_limit())
    except Invalid:
        return _ask(typed=request.form.get("number", ""), problem="number", status=422)
    except Wait as wait:
        return _wait(wait)
    return _type(number)


@pages.post("/lost/code")
def check() -> Response:
    """The right code leads to the new claim page; everything else to the same field again."""
    typed = request.form.get("number", "")
    try:
        code = request.form.get("code", "")
        done = lost_ticket.renew_by_number(ctx(), shop_id(), typed, code, source=_source(), limit=_limit())
    except Invalid as wrong:
        if wrong.field == "number":
            return _ask(typed=typed, problem="number", status=422)
        return _type(parse_number(typed), problem="malformed", status=422)
    except WrongCode:
        return _type(parse_number(typed), problem="wrong", status=422)
    except Conflict:
        return message_page("over", asked_language(), status=409)
    except Wait as wait:
        return _wait(wait)
    return redirect(f"/c/{done.token}?said=new_link", code=303)


def _source() -> str:
    return request.remote_addr or ""


def _limit() -> int:
    return services().settings.limits.claim_tries_an_hour


def _wait(wait: Wait) -> Response:
    answer = message_page("too_often", asked_language(), status=429)
    answer.headers["Retry-After"] = str(wait.seconds)
    return answer


def _ask(*, typed: str = "", problem: str = "", status: int = 200) -> Response:
    language = asked_language()
    w = services().page_words.get(language)
    page = render_template(
        "lost.html", **base(language), typed=typed[:40], problem=w[f"lost.wrong_{problem}"] if problem else "",
        action=f"/lost?language={language}",
    )  # fmt: skip
    return make_response(page, status)


def _type(number: str, *, problem: str = "", status: int = 200) -> Response:
    language = asked_language()
    w = services().page_words.get(language)
    page = render_template(
        "code.html", **base(language), title=w["code.title"], label=w["code.label"],
        sentence=w("lost.perhaps_sent", number=show_number(number)), problem=w[f"code.{problem}"] if problem else "",
        number=number, check_action=f"/lost/code?language={language}", send_action=f"/lost?language={language}",
        back_href=f"/lost?language={language}", back_label=w["lost.other_number"],
    )  # fmt: skip
    return make_response(page, status)

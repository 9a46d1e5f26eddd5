"""What every customer page shares: its frame, the words said once, and the answer to links that open nothing."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from flask import g, make_response, redirect, render_template, request
from werkzeug.wrappers import Response

from notify.flows.claim_shown import Speech
from notify.flows.claims import Forgotten, NotEntered, UnknownClaim, count_guess
from notify.flows.view_hours import Door, view_door
from notify.web.errors import asked_language, customer_base
from notify.web.here import ctx, no_shop_known, services, shop_id


def speech() -> Speech:
    """The words of messages and of customer pages."""
    return Speech(services().words.get, services().page_words.get)


def base(language: str, *, token: str = "", door: Door | None = None) -> dict[str, Any]:
    """What base_customer.html asks for; with `token` the language can be switched and a notice may be said.

    `door` is given by a view that has looked at it already.
    """
    action = f"/c/{token}/language" if token else ""
    if door is None and not no_shop_known():
        door = view_door(ctx(), shop_id(), services().page_words.get(language))
    return customer_base(language, notice=_said(language) if token else "", language_action=action, door=door)


def _said(language: str) -> str:
    """The sentence for `?said=booked`; a code that is no words says nothing."""
    return services().page_words.get(language).get(f"notice.{request.args.get('said', '')}", "")


def opens_claim(view: Callable[[str], Response]) -> Callable[[str], Response]:
    """Wraps a page of a claim link: what opens nothing gets the same answer on all of them."""

    @wraps(view)
    def answer(token: str) -> Response:
        try:
            return view(token)
        except Forgotten as gone:
            return message_page("expired", gone.language, status=410)
        except NotEntered as paper:
            g.shop_id = paper.shop_id
            return message_page("on_paper", asked_language(), status=200)
        except UnknownClaim:
            return unknown_secret()

    return answer


def unknown_secret(kind: str = "unknown") -> Response:
    """404 for any secret that is none, in the words `kind` of [message].

    429 with the same words once too many came from one source.
    """
    limit = services().settings.limits.claim_tries_an_hour
    wait = count_guess(ctx(), shop_id(), request.remote_addr or "", limit=limit)
    answer = message_page(kind, asked_language(), status=429 if wait else 404)
    if wait:
        answer.headers["Retry-After"] = str(wait)
    return answer


def message_page(kind: str, language: str, *, status: int) -> Response:
    """A page that only says one thing: the words `<kind>` of [message]."""
    w = services().page_words.get(language)
    said = {"title": w[f"message.{kind}_title"], "sentence": w[f"message.{kind}"]}
    page = render_template(
        "claim_message.html",
        **base(language),
        **said,
        next_sentence=w[f"message.{kind}_next"],
        back_href="",
        lost_href=f"/lost?language={language}" if kind == "unknown" else "",
    )
    return make_response(page, status)


def go_to(token: str, said: str = "", *, page: str = "") -> Response:
    """303 to the claim page, or to its `page` "/slots", which then says the words `notice.<said>`."""
    return redirect(f"/c/{token}{page}" + (f"?said={said}" if said else ""), code=303)

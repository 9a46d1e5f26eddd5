"""The link in a mail that stops this kind of mail: a page with one button, and the press of it (RFC 8058)."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, g, make_response, render_template, request
from werkzeug.wrappers import Response

from notify.core.one_click import FIELD, VALUE, Use
from notify.flows import stop_by_link
from notify.store.readers import Reader
from notify.web.claim.frame import base, message_page
from notify.web.errors import asked_language
from notify.web.here import ctx, services

pages = Blueprint("one_click", __name__)


@pages.get("/u/<link>")
def show(link: str) -> Response:
    """What the link would stop, with one button. Looking changes nothing: mail scanners open every link."""
    return _with_reader(link, _ask)


@pages.post("/u/<link>")
def stop(link: str) -> Response:
    """Stops it, from the button or from a mail program, which sends no cookie and follows no redirect (RFC 8058 3.2).

    A body that does not say so changes nothing and is answered with the button.
    """
    if request.form.get(FIELD) != VALUE:
        return _with_reader(link, lambda reader, use: _ask(reader, use, status=400))
    return _with_reader(link, _stop)


def _with_reader(link: str, answer: Callable[..., Response]) -> Response:
    """The answer for whoever the link names; kind words for a link that is none, and for somebody forgotten."""
    found: tuple[Use, Reader] | None = g.get("stop_link")
    if found is None:
        return message_page("no_stop_link", asked_language(), status=404)
    use, reader = found
    return message_page("nothing_kept", reader.language, status=200) if reader.forgotten else answer(reader, use)


def _ask(reader: Reader, use: Use, *, status: int = 200) -> Response:
    if not stop_by_link.is_allowed(ctx(), reader, use):
        return message_page("stopped_asking", reader.language, status=status)
    said = services().page_words.get(reader.language)
    page = render_template(
        "stop_asking.html", **base(reader.language), title=said["message.stop_asking_title"],
        sentence=said[f"message.stop_asking_{use.channel}"], action=request.path, field=FIELD, value=VALUE,
        button=said["claim.stop_asking"],
    )  # fmt: skip
    return make_response(page, status)


def _stop(reader: Reader, use: Use) -> Response:
    stop_by_link.stop(ctx(), reader, use)
    return message_page("stopped_asking", reader.language, status=200)

"""The link in a mail that stops this kind of mail, or everything: a page with a button for each (RFC 8058)."""

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
EVERYTHING = "everything"  # the name of what the other button posts


@pages.get("/u/<link>")
def show(link: str) -> Response:
    """What the link would stop, with its buttons. Looking changes nothing: mail scanners open every link."""
    return _with_reader(link, _ask)


@pages.post("/u/<link>")
def stop(link: str) -> Response:
    """Stops it, from the button or from a mail program, which sends no cookie and follows no redirect (RFC 8058 3.2).

    The other button stops everything by that channel. A body that says neither changes nothing and is answered with
    the buttons.
    """
    if request.form.get(EVERYTHING):
        return _with_reader(link, lambda reader, use: _stop(reader, use, everything=True))
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
    """What can still be stopped, with a button for each; only words once nothing can."""
    left = stop_by_link.allowed(ctx(), reader, use)
    if not left:
        return message_page("stopped_everything", reader.language, status=status)
    said = services().page_words.get(reader.language)
    buttons = [{"name": EVERYTHING, "value": "yes", "label": said[f"message.stop_everything_{use.channel}"]}]
    title, sentence, more = "stopped_asking_title", "stopped_asking", said["message.stopped_asking_next"]
    if use.purpose in left:
        buttons = [{"name": FIELD, "value": VALUE, "label": said["claim.stop_asking"]}, *buttons]
        title, sentence, more = "stop_asking_title", f"stop_asking_{use.channel}", ""
    page = render_template(
        "stop_asking.html", **base(reader.language), title=said[f"message.{title}"], more=more, buttons=buttons,
        sentence=said[f"message.{sentence}"], action=request.path,
    )  # fmt: skip
    return make_response(page, status)


def _stop(reader: Reader, use: Use, *, everything: bool = False) -> Response:
    stop_by_link.stop(ctx(), reader, use, everything=everything)
    return _ask(reader, use)

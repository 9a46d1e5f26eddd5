"""The shop's bell on the day sheet: its lines, asked for again and again; nothing new costs one look."""

from __future__ import annotations

from flask import Blueprint, make_response, render_template, request
from werkzeug.wrappers import Response

from notify.flows.view_bell import Rang, stamp, view
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.pages import say
from notify.web.say import Say

pages = Blueprint("bell", __name__)


@pages.get("/bell")
def show() -> Response:
    """What rang, as lines for the day sheet; 304 while nothing did (RFC 9110, 15.4.5)."""
    tag = tag_of(stamp(ctx(), current_actor()))
    fresh = request.if_none_match.contains_weak(tag)
    answer = make_response("", 304) if fresh else make_response(render_template("_bell.html", rang=lines(say())))
    answer.set_etag(tag, weak=True)
    return answer


def tag_of(number: int) -> str:
    """The entity tag of the lines after so many messages to the shop."""
    return f"bell-{number}"


def lines(speak: Say) -> list[d.Line]:
    """The lines that the day sheet shows at its top."""
    return [_line(one, speak) for one in view(ctx(), current_actor())]


def _line(one: Rang, speak: Say) -> d.Line:
    device = one.device or d.word("device_class", one.device_class)
    return {"stamp": one.stamp, "at": speak.time(one.at), "number": one.number, "href": f"/tickets/{one.ticket_id}",
            "sentence": d.word("rang", one.kind, device=device)}  # fmt: skip

"""The bench over the next days and where the time goes, with their pictures and those of the promises. Only looks."""

from __future__ import annotations

from flask import Blueprint, make_response, request
from werkzeug.wrappers import Response

from notify.flows import view_load, view_time
from notify.web.counter import load_says, pictures, time_says
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page

pages = Blueprint("reports", __name__)
PATH = "/forecast"


@pages.get(PATH)
def show() -> Response:
    """Both reports."""
    load, spent = view_load.view(ctx(), current_actor()), view_time.view(ctx(), current_actor())
    return render_page(
        "forecast.html", here="", load=load_says.finding(load), load_about=load_says.about(load),
        days=load_says.rows(load),
        load_chart=pictures.shown(f"{PATH}/bench", load_says.in_words(load)) if load.days and load.people else None,
        time=time_says.finding(spent), time_about=time_says.about(spent) if spent.devices else "",
        causes=time_says.rows(spent) if spent.devices else [], kinds=time_says.kinds(spent),
        time_chart=pictures.shown(f"{PATH}/time", time_says.in_words(spent)) if spent.devices else None,
    )  # fmt: skip


@pages.get(f"{PATH}/bench.svg")
def bench() -> Response:
    """The days at the bench."""
    return _picture("bench")


@pages.get(f"{PATH}/time.svg")
def time() -> Response:
    """Where the time goes."""
    return _picture("time")


@pages.get("/promises/kept.svg")
def kept() -> Response:
    """Promised against actual."""
    return _picture("promises")


@pages.get("/promises/pit.svg")
def pit() -> Response:
    """Where they ended in their forecasts."""
    return _picture("pit")


@pages.get("/promises/drift.svg")
def drift() -> Response:
    """Whether it drifts."""
    return _picture("drift")


def _picture(name: str) -> Response:
    drawn, _ = pictures.draw(name, ctx(), current_actor(), dark=request.args.get("shade") == "dark")
    answer = make_response(drawn)
    answer.content_type = "image/svg+xml"
    return answer

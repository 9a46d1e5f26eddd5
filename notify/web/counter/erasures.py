"""The records of erasing, and one of them as a page to print. No person is named in any."""

from __future__ import annotations

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.flows import view_erasures as flow
from notify.web.counter import desk_words as d
from notify.web.counter import erasures_says as says
from notify.web.here import ctx, current_actor, services
from notify.web.pages import render_page, say

pages = Blueprint("erasures", __name__)
PATH, MOST = "/held/erasures", 200


@pages.get(PATH)
def show() -> Response:
    """The newest ones."""
    speak = say()
    lines = [
        {"href": f"{PATH}/{one.id}", "when": d.capital(d.at(speak, one.at)), "why": says.why(one),
         "proved": "proved" if one.confirmed_at else "not proved yet"}
        for one in flow.view(ctx(), current_actor(), services().settings)[:MOST]
    ]  # fmt: skip
    return render_page("erasures.html", here="", lines=lines, one=None)


@pages.get(f"{PATH}/<record_id>")
def show_one(record_id: str) -> Response:
    """One record, to be printed."""
    one, speak = flow.one(ctx(), current_actor(), services().settings, record_id), say()
    told = {
        "record": one.id, "when": d.dated(speak, one.at), "why": says.why(one), "counts": says.counts(one),
        "proved": says.proved(one, speak), "backups": says.backups(one), "out_of_reach": says.OUT_OF_REACH,
    }  # fmt: skip
    return render_page("erasures.html", here="", lines=[], one=told)

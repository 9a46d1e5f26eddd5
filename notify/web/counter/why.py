"""The story of every message about a ticket: why it was planned, waited, was dropped or left, and what came of it."""

from __future__ import annotations

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.flows.view_why import Told, view
from notify.render.why_says import say_steps
from notify.web.counter import desk_words as d
from notify.web.counter.messages import fate
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page, say
from notify.web.say import Say

pages = Blueprint("why", __name__)


@pages.get("/tickets/<ticket_id>/why")
def show(ticket_id: str) -> Response:
    """All of them, the newest first."""
    seen, speak = view(ctx(), current_actor(), ticket_id), say()
    return render_page(
        "why.html", number=seen.number, back_href=f"/tickets/{seen.ticket_id}",
        told=[_told(one, speak) for one in seen.told],
    )  # fmt: skip


def _told(one: Told, speak: Say) -> d.Line:
    return {
        "href": f"/messages/{one.line.id}", "id": one.line.id, "subject": d.staff_word("notice", one.line.notice),
        "person": "" if one.line.shop else d.person(one.person, forgotten=one.line.forgotten),
        "trouble": one.line.trouble, "fate": fate(one.line, speak),
        "steps": list(say_steps(one.steps, words=d.words(), at=lambda moment: d.at(speak, moment))),
    }  # fmt: skip

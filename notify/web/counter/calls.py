"""Calls: whom to phone, the sentence to say, and a button for how it went."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid
from notify.flows.calls import RESULTS, log_call
from notify.flows.view_calls import Call, Logged, view
from notify.web.counter import desk_words as d
from notify.web.counter.day_sheet import dial
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("calls", __name__)


@pages.get("/calls")
def show() -> Response:
    """Everybody to be called."""
    return _page()


def _page(*, errors: list[Problem] | None = None, status: int = 200, typed: dict[str, str] | None = None) -> Response:
    seen, speak = view(ctx(), current_actor()), say()
    return render_page(
        "calls.html", here="calls", status=status, errors=errors,
        calls=[{**_call(one, speak), "note": (typed or {}).get(one.message_id, "")} for one in seen.calls],
        results=[{"code": code, "label": d.words()(f"call_result.{code}")} for code in RESULTS],
        done=[{"when": speak.time(one.at), "sentence": _done(one)} for one in seen.done],
    )  # fmt: skip


def _call(one: Call, speak: Say) -> d.Line:
    phone, href = dial(one.phone)
    again = f" Try again after {speak.time(one.again_at)}." if one.again_at else ""
    return {
        "id": one.message_id, "person": d.person(one.person, forgotten=one.ticket.forgotten), "phone": phone,
        "phone_href": href, "number": one.ticket.number, "href": f"/tickets/{one.ticket.ticket_id}",
        "why": f"{d.staff_word('notice', one.notice)}: {d.device(one.ticket)}. {d.word('why_call', one.why)}",
        "sentence": one.sentence or "The words of this call were erased with the person's data.",
        "tried": f"Nobody answered {d.at(speak, one.tried_at)}.{again}" if one.tried_at else "",
    }  # fmt: skip


def _done(one: Logged) -> str:
    about = (
        f"{d.staff_word('notice', one.notice).lower()}, {d.device(one.ticket)}" if one.notice else d.device(one.ticket)
    )
    said = d.words()(f"call_done.{one.result}", person=d.person(one.ticket.person), notice=about)
    return f"{said}{f' ({one.by})' if one.by else ''}"


@pages.post("/calls/<message_id>/log")
def log(message_id: str) -> Response:
    """Notes how the call went."""
    result, note = request.form.get("result", ""), request.form.get("note", "")
    try:
        log_call(ctx(), current_actor(), message_id, result=result, note=note)
    except Invalid as error:
        fields = {"note": f"note-{message_id}", "result": ""}
        return _page(errors=d.problems(error, fields), status=422, typed={message_id: note})
    except Conflict as error:
        return redirect_with("/calls", d.plain(error))
    return redirect_with("/calls", f"{d.words()(f'call_result.{result}')}: noted.")

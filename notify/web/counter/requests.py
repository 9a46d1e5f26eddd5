"""What people asked by law about their own data: the list by last day, and what is done with each."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, request
from werkzeug.wrappers import Response as Answer

from notify.core.errors import NotFound, NotifyError
from notify.core.requests import ARTICLES, REASONS, WAYS, Kind, Standing
from notify.core.retention import EXCEPTIONS, NOT_ADVICE
from notify.core.roles import may
from notify.flows import granted
from notify.flows import requests as flow
from notify.flows.view_lookup import find_person, find_ticket
from notify.flows.view_requests import RequestLine, view, view_one
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter.back import back_to
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("requests", __name__)
WHO = ("bringer", "tell", "payer", "collector")
# What the answer "it is done" does by itself.
_DOES = {
    Kind.RESTRICTION: "From then on they are sent only what is needed to give the device back, and what they ask for;"
    " nothing of theirs is forgotten until you end it.",
    Kind.OBJECTION: "From then on they get no reminders, and no question afterwards.",
}
TYPED = ("number", "who", "kind", "how", "note", "made_sure", "received_on")


@pages.get("/requests")
def show() -> Answer:
    """The list, and the form for what came by post, by phone or at the counter."""
    return _list()


def _list(*, error: NotifyError | None = None, typed: dict[str, str] | None = None) -> Answer:
    seen, speak = view(ctx(), current_actor()), say()
    return render_page(
        "requests.html", here="", status=422 if error else 200, sentence=_sentence(len(seen.open)), advice=NOT_ADVICE,
        errors=d.problems(error, {name: f"new-{name}" for name in TYPED}) if error else None,
        open=[shown(one, speak) for one in seen.open], ended=[shown(one, speak) for one in seen.ended],
        in_force=[shown(one, speak) for one in seen.in_force],
        typed={**dict.fromkeys(TYPED, ""), **(typed or {})}, kinds=_choices("request_kind", Kind),
        ways=_choices("request_way", WAYS[1:]), who=_choices("request_who", WHO),
    )  # fmt: skip


def _sentence(number: int) -> str:
    if not number:
        return "No request is open."
    return f"{d.capital(d.count(number, 'request waits', 'requests wait'))} for an answer."


def _choices(part: str, codes: Any) -> list[dict[str, str]]:
    return [{"code": str(code), "label": d.words()(f"{part}.{code}")} for code in codes]


@pages.post("/requests/take")
def take() -> Answer:
    """Notes a request of somebody with a claim number."""
    typed = {name: request.form.get(name, "") for name in TYPED}
    try:
        visit_id, person_id = _meant(typed)
        made = flow.ask(
            ctx(), current_actor(), visit_id, person_id, kind=typed["kind"], how=typed["how"], note=typed["note"],
            made_sure=typed["made_sure"], received_on=fields.day(typed["received_on"], field="received_on"),
        )  # fmt: skip
    except NotifyError as error:
        return _list(error=error, typed=typed)
    return redirect_with(f"/requests/{made.id}", "Noted." if made.new else "This was asked already; here it is.")


def _meant(typed: dict[str, str]) -> tuple[str, str]:
    visit_id = find_ticket(ctx(), current_actor(), typed["number"]).visit_id
    return visit_id, find_person(ctx(), current_actor(), visit_id, typed["who"] or "bringer")


@pages.get("/requests/<request_id>")
def show_one(request_id: str) -> Answer:
    """One request with what can be done."""
    return _one(request_id)


def _one(request_id: str, *, error: NotifyError | None = None) -> Answer:
    one, speak = view_one(ctx(), current_actor(), request_id), say()
    role = current_actor().role
    named = {"note": "refuse-note", "reason": "refuse-reason", "made_sure": "prove-made_sure", "name": "done-name",
             "told": "lift-told"}  # fmt: skip
    return render_page(
        "request.html", here="", status=422 if error else 200, errors=d.problems(error, named) if error else None,
        one=shown(one, speak), note=one.note, is_open=one.state == "open", proved=one.proved, advice=NOT_ADVICE,
        does=_DOES.get(one.kind, ""), in_force=one.in_force,
        is_erasure=one.kind is Kind.ERASURE, is_correction=one.kind is Kind.CORRECTION, may_extend=one.may_extend,
        may_settle=may(role, "settle_request"), may_export=may(role, "export") and one.proved and bool(one.person),
        reasons=_choices("request_reason", REASONS),
    )  # fmt: skip


def shown(one: RequestLine, speak: Say) -> dict[str, Any]:
    """One request in sentences."""
    return {
        "id": one.id, "kind": d.words()(f"request_kind.{one.kind}"), "article": ARTICLES[one.kind],
        "who": d.person(one.person), "number": one.number, "ticket_href": f"/tickets/{one.ticket_id}",
        "href": f"/requests/{one.id}", "how": d.words()(f"request_way.{one.how}"),
        "received": f"{one.received_on:%d %B %Y}",
        "due": due(one), "late": one.state == "open" and one.standing is Standing.LATE,
        "next": what_next(one, speak), "by": one.by,
    }  # fmt: skip


def due(one: RequestLine) -> str:
    """The last day and how far off it is, or how it ended."""
    if one.in_force:
        return f"Their data are set aside since {one.ended_at:%d %B %Y}."
    if one.state != "open":
        reason = f" {d.capital(d.words()(f'request_reason.{one.reason}'))}." if one.reason else ""
        return f"{d.words()(f'request_state.{one.state}')}.{reason}"
    day = f"{one.last_day:%A, %d %B %Y}"
    if one.days < 0:
        return f"Late by {d.count(-one.days, 'day', 'days')}: it had to be answered by {day}. Answer it now."
    left = "today is the last day" if one.days == 0 else f"{d.count(one.days, 'day', 'days')} left"
    return f"Answer by {day}: {left}.{' It was extended.' if one.extended else ''}"


def what_next(one: RequestLine, speak: Say) -> str:
    """What somebody has to do, or what happens by itself."""
    if one.state != "open":
        return ""
    if not one.proved:
        return "Make sure first who asks."
    if one.kind is not Kind.ERASURE:
        return ""
    if one.against:
        why = d.joined("a device of theirs is here" if code == "open" else EXCEPTIONS[code] for code in one.against)
        return f"It waits, since {why}."
    return f"It is done in the first night after {speak.when(one.erased_from)}." if one.erased_from else ""


@pages.post("/requests/<request_id>/prove")
def prove(request_id: str) -> Answer:
    """How staff made sure who asks."""
    return _do(request_id, lambda: flow.prove(ctx(), current_actor(), request_id,
                                              made_sure=request.form.get("made_sure", "")), "Noted.")  # fmt: skip


@pages.post("/requests/<request_id>/done")
def done(request_id: str) -> Answer:
    """It was given or changed."""
    form = request.form
    note, name = form.get("note", ""), form.get("name", "")
    return _do(
        request_id,
        lambda: flow.finish(ctx(), current_actor(), request_id, note=note, name=name),
        "It is done, and they are told.",
    )


@pages.post("/requests/<request_id>/refuse")
def refuse(request_id: str) -> Answer:
    """Refused, for a reason of the list."""
    form = request.form
    reason, note = form.get("reason", ""), form.get("note", "")
    return _do(
        request_id,
        lambda: flow.refuse(ctx(), current_actor(), request_id, reason=reason, note=note),
        "It is refused, and they are told.",
    )


@pages.post("/requests/<request_id>/extend")
def extend(request_id: str) -> Answer:
    """Two months more."""
    note = request.form.get("note", "")
    return _do(
        request_id, lambda: flow.extend(ctx(), current_actor(), request_id, note=note), "Extended, and they are told."
    )


@pages.post("/requests/<request_id>/lift")
def lift(request_id: str) -> Answer:
    """Their data are to be used again: first they are told, then it ends."""
    try:
        ended = granted.lift(ctx(), current_actor(), request_id, told=request.form.get("told", ""))
    except NotifyError as error:
        return _one(request_id, error=error)
    said = "It has ended." if ended else "They are told now. Give them a day to answer, then press once more."
    return redirect_with(f"/requests/{request_id}", said)


@pages.post("/requests/<request_id>/withdraw")
def withdraw(request_id: str) -> Answer:
    """They took it back."""
    return _do(request_id, lambda: flow.withdraw(ctx(), current_actor(), request_id), "It is taken back.")


def _do(request_id: str, act: Callable[[], object], said: str) -> Answer:
    try:
        act()
    except NotifyError as error:
        return _one(request_id, error=error)
    return redirect_with(f"/requests/{request_id}", said)


@pages.get("/requests/<request_id>/held.json")
def held(request_id: str) -> Response:
    """Everything held about whoever asked, to be handed over (flows/held_about says its shape)."""
    found = flow.export(ctx(), current_actor(), request_id)
    answer = Response(json.dumps(found, ensure_ascii=False, indent=2), mimetype="application/json")
    answer.headers["Content-Disposition"] = 'attachment; filename="held.json"'
    return answer


@pages.post("/replies/<reply_id>/request")
def from_reply(reply_id: str) -> Answer:
    """One tap makes a request of a letter that asks to be forgotten."""
    try:
        made = flow.from_reply(ctx(), current_actor(), reply_id)
    except NotFound:
        raise
    except NotifyError as error:
        return redirect_with(back_to("/replies"), d.plain(error))
    return redirect_with(f"/requests/{made.id}", "It is a request now. Make sure who asks.")


def sheet_line(one: RequestLine, speak: Say) -> d.Line:
    """A request on the day sheet whose last day is near or over."""
    kind = d.words()(f"request_kind.{one.kind}")
    return d.sheet_line(d.person(one.person), f"{kind}. {due(one)} {what_next(one, speak)}", mark="caution",
                        number=one.number, href=f"/requests/{one.id}")  # fmt: skip

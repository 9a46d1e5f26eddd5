"""The proof of consent of a visit, to read and to print; and the presses by which somebody's word is noted."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.consent import EVERY_PURPOSE, PURPOSE_MEANING, PURPOSES
from notify.core.errors import Invalid, NotifyError
from notify.core.roles import may
from notify.flows import reach
from notify.flows.view_consents import Proof, Said, Way, Who, proof
from notify.render.consent_says import say_entry, say_way
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("consents", __name__)
_DONE = {"give": "Noted: they allow it.", "withdraw": "Noted: it is withdrawn.", "stop": "Nothing goes there any more.",
         "wanted": "Noted: they want messages again.", "child": "Noted: a child's contact.",
         "grown": "Noted: no child's contact."}  # fmt: skip


@pages.get("/visits/<number>/consents")
def show(number: str) -> Response:
    """Everything that was said, the newest last, and what counts today."""
    return _page(proof(ctx(), current_actor(), number))


@pages.post("/visits/<number>/consents/say")
def note(number: str) -> Response:
    """Notes what somebody just said here: allowed, withdrawn, stopped, wanted again, or whose contact it is."""
    seen, form = proof(ctx(), current_actor(), number), request.form
    act, person, channel = form.get("act", ""), form.get("person", "")[:36], form.get("channel", "")[:10]
    try:
        _do(seen, act, person, channel, form.get("purpose", "")[:20])
    except NotifyError as error:
        return _page(seen, refused=d.plain(error), status=422)
    return redirect_with(f"/visits/{seen.number}/consents", _DONE[act])


def _do(seen: Proof, act: str, person: str, channel: str, purpose: str) -> None:
    who, visit = (ctx(), current_actor()), seen.visit_id
    if act in ("child", "grown"):
        reach.set_child(*who, visit, person, child=act == "child")
    elif act in ("give", "withdraw"):
        reach.set_use(*who, visit, person, channel=channel, purposes=(purpose,), allowed=act == "give", how="counter")
    elif act == "stop":
        reach.set_use(*who, visit, person, channel=channel, purposes=EVERY_PURPOSE, allowed=False, how="counter")
    elif act == "wanted":
        reach.set_use(*who, visit, person, channel=channel, purposes=reach.SERVICE, allowed=True, how="counter",
                      wanted=True)  # fmt: skip
    else:
        raise Invalid("Nothing was chosen", "Press one of the buttons.", field="act")


def _page(seen: Proof, *, refused: str = "", status: int = 200) -> Response:
    speak = say()
    return render_page(
        "consents.html", status=status, number=seen.number, refused=refused, printed=_dated(speak.now, speak),
        may_change=may(current_actor().role, "change_contact"), action=f"/visits/{seen.number}/consents/say",
        people=[_who(one, speak) for one in seen.people],
    )  # fmt: skip


def _who(one: Who, speak: Say) -> dict[str, Any]:
    roles = d.joined(d.words()(f"role.{role}").lower() for role in one.roles)
    return {
        "id": one.person_id, "name": d.person(one.name, forgotten=one.forgotten), "roles": d.capital(roles),
        "child": one.child, "forgotten": one.forgotten, "ways": [_way(way, speak) for way in one.ways],
        "said": [_said(said, speak) for said in one.said],
    }  # fmt: skip


def _way(one: Way, speak: Say) -> dict[str, Any]:
    stopped = _day(one, speak)
    asked = [] if stopped else one.may_ask
    return {
        "channel": one.channel, "stopped": stopped, "masked": one.masked,
        "says": say_way(channel=one.channel, masked=one.masked, allowed=one.allowed, stopped_on=stopped),
        "give": [{"code": use, "label": f"They allow: {PURPOSE_MEANING[use]}"} for use in asked],
        "withdraw": [{"code": use, "label": f"They withdraw: {PURPOSE_MEANING[use]}"}
                     for use in one.allowed if use not in PURPOSES or set(PURPOSES) <= set(one.allowed)],
        "can_stop": not stopped,
    }  # fmt: skip


def _day(one: Way, speak: Say) -> str:
    return _dated(one.stopped_on, speak) if one.stopped_on else ""


def _dated(moment: datetime, speak: Say) -> str:
    return f"{speak.day(moment)} {speak.local(moment).year}"


def _said(one: Said, speak: Say) -> dict[str, Any]:
    sentence = say_entry(
        when=d.dated(speak, one.at), allowed=one.allowed, channel=one.channel,
        purpose=one.purpose, basis=one.basis, text=one.text, wording=one.wording, language=one.language, how=one.how,
        by=one.by, evidence=one.evidence, evidence_id=one.evidence_id,
    )  # fmt: skip
    return {"sentence": sentence, "allowed": one.allowed}

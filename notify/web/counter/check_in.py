"""Check in: one screen for a visit of one or more devices; whatever is wrong, nothing typed is lost."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.consent import PURPOSES
from notify.core.errors import Conflict, Invalid
from notify.core.languages import LANGUAGES
from notify.flows import check_in
from notify.flows.check_in_form import DEVICE_CLASSES, SAFETY_FLAGS
from notify.flows.consent_words import sentence
from notify.flows.view_learned import list_offered
from notify.flows.view_outlook import outlook
from notify.web.counter import lines
from notify.web.counter.check_in_fields import Typed, page_errors
from notify.web.counter.kinds import kind_groups
from notify.web.counter.outlook_says import answer
from notify.web.errors import page_label
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, desk, redirect_with, render_page, say

pages = Blueprint("check_in", __name__)


@pages.get("/check-in")
def show() -> Response:
    """An empty form with a key of its own, so that a double click checks in once; with the number of a pad's ticket."""
    empty = Typed.empty(language=desk().shop.language, once=ctx().new_id())
    return _form(empty.from_pad(request.args.get("pad", "")[:20]))


@pages.post("/check-in")
def take_in() -> Response:
    """Takes the visit in; or adds or drops a device, or suggests a time, and takes nothing in."""
    typed = Typed.read(request.form)
    if "add_device" in request.form:
        return _form(typed.with_one_more())
    if drop := request.form.get("drop_device", ""):
        return _form(typed.without(drop))
    if number := request.form.get("suggest", ""):
        return _form(typed.foreseen(number, _when), at_device=True)
    if any(key.startswith("take-") for key in request.form):
        return _form(typed, at_device=True)
    try:
        done = check_in.check_in(ctx(), current_actor(), typed.visit_form())
    except (Invalid, Conflict) as error:
        return _form(typed, errors=page_errors(error), status=422)
    return redirect_with(f"/visits/{done.visit_id}", " ".join(done.warnings))


def _when(device: dict[str, Any]) -> dict[str, Any]:
    return answer(outlook(ctx(), current_actor(), kind=device["kind"]), device["i"], say())


def _form(typed: Typed, *, errors: list[Problem] | None = None, status: int = 200, at_device: bool = False) -> Response:
    w, problems = lines.words(), errors or []
    kinds = [{"code": one, "label": lines.capital(w(f"device_class.{one}"))} for one in DEVICE_CLASSES]
    return render_page(
        "check_in.html", here="check_in", status=status, errors=problems, visit=typed.visit, devices=typed.devices,
        once=typed.once, at_device=at_device,
        late_open=typed.is_late() or any(one["field"].startswith(("taken_in", "pad-")) for one in problems),
        more_open=typed.names_others() or any(one["field"] in typed.OTHERS for one in problems),
        languages=[{"code": one, "label": page_label(one)} for one in LANGUAGES],
        classes=kinds, currency=say().sign, cautions=_usual_cautions(),
        asks=_asks(), agreed=[one for purpose in PURPOSES for one in _sentences(purpose)],
        repair_kinds=kind_groups(list_offered(ctx(), current_actor())),
        safety_kinds=[{"code": one, "label": w(f"safety.{one}").removeprefix("battery ")} for one in SAFETY_FLAGS],
    )  # fmt: skip


def _asks() -> list[dict[str, str]]:
    """The sentence that somebody agrees to, in each language to be read out; none while the shop asks nobody."""
    return _sentences("afterwards") if desk().shop.all_well_days else []


def _sentences(purpose: str) -> list[dict[str, str]]:
    return [{"language": one, "label": page_label(one), "sentence": sentence(ctx(), purpose, one)} for one in LANGUAGES]


def _usual_cautions() -> list[str]:
    return [f"{lines.flag((one,))}: {lines.cautions((one,))[0]}" for one in SAFETY_FLAGS]

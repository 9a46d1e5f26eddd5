"""Kinds of repair: the list with what was learned of each, and its one form."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.core.roles import may
from notify.flows import repair_kinds
from notify.flows.check_in_form import DEVICE_CLASSES
from notify.flows.view_learned import KindLearned, view_kinds
from notify.store.repair_kinds import KindRow
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, redirect_with, render_page

pages = Blueprint("kinds", __name__)
PATH = "/settings/kinds"
_FIELDS = ("name", "minutes", "device_class", "rename")
_GROUPS = {"": "Any device", "other": "Another device"}
_AT = {"kind": "kind-name", "name": "kind-rename", "minutes": "kind-minutes", "device_class": "kind-device_class"}


@pages.get(PATH)
def show() -> Response:
    """Every kind, retired ones last."""
    return _page(dict.fromkeys(_FIELDS, ""))


@pages.post(f"{PATH}/keep")
def change() -> Response:
    """Adds or changes a kind, or offers one no longer, or again."""
    form = request.form
    typed = {name: form.get(name, "") for name in _FIELDS}
    try:
        if chosen := form.get("retire") or form.get("again"):
            name = repair_kinds.set_active(ctx(), current_actor(), chosen, active="again" in form)
            return redirect_with(PATH, f"{name} is {'offered again' if 'again' in form else 'no longer offered'}.")
        repair_kinds.put_kind(
            ctx(), current_actor(), name=typed["name"], minutes=fields.whole(typed["minutes"], field="minutes"),
            device_class=typed["device_class"], new_name=typed["rename"],
        )  # fmt: skip
    except NotifyError as error:
        return _page(typed, errors=d.problems(error, _AT), status=422)
    return redirect_with(PATH, "The kind is kept.")


def _page(typed: dict[str, str], *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    found = sorted(view_kinds(ctx(), current_actor()), key=lambda one: not one.active)
    return render_page(
        "kinds.html", here="settings", status=status, errors=errors, kind=typed, classes=class_options(),
        may_change=may(current_actor().role, "settings"), kinds=[_line(one) for one in found],
    )  # fmt: skip


def class_options() -> list[dict[str, str]]:
    """The classes of devices to choose from."""
    return [{"code": one, "label": d.capital(d.word("device_class", one))} for one in DEVICE_CLASSES]


def _line(one: KindLearned) -> dict[str, Any]:
    usual = f"Usually {d.count(one.minutes, 'minute', 'minutes')}"
    whom = f" for {d.word('device_class', one.device_class)}s" if one.device_class not in ("", "other") else ""
    rest = " This is the kind of all that names none." if one.catch_all else ""
    return {
        "id": one.id, "name": one.name, "active": one.active, "rest": one.catch_all,
        "sentence": f"{usual}{whom}.{rest}{'' if one.active else ' No longer offered.'}", "learned": learned(one),
    }  # fmt: skip


def learned(one: KindLearned) -> str:
    """ "214 repairs, half within 41 minutes, nine of ten within 78."."""
    out = f" {d.capital(d.count(one.kept_out, 'more was', 'more were'))} too short or too long to be meant."
    told = f"half within {one.half:.0f} minutes, nine of ten within {one.nine:.0f}"
    if not one.jobs:
        return f"Nothing learned yet: {told} are assumed.{out if one.kept_out else ''}"
    return f"{d.capital(d.count(one.jobs, 'repair', 'repairs'))}, {told}.{out if one.kept_out else ''}"


def kind_groups(rows: tuple[KindRow, ...], *, of: str = "", chosen: str = "") -> list[dict[str, Any]]:
    """Kinds to choose from, by class of device; `of` leaves only those for one class, and `chosen` always stays."""
    fitting = [
        row for row in rows
        if not row.catch_all and (not of or row.device_class in ("", of) or row.id == chosen)
    ]  # fmt: skip
    classes = [one for one in (*DEVICE_CLASSES, "") if any(row.device_class == one for row in fitting)]
    return [
        {"label": _GROUPS.get(one) or d.capital(d.word("device_class", one)),
         "options": [{"code": row.id, "label": row.name} for row in fitting if row.device_class == one]}
        for one in classes
    ]  # fmt: skip

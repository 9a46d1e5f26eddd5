"""Pads of blank claim tickets: printed, made void, and typed in quickly once the power is back."""

from __future__ import annotations

import re
from typing import Any

from flask import Blueprint, request
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.languages import LANGUAGES
from notify.core.roles import may
from notify.flows import pads as flow
from notify.flows.check_in_form import SAFETY_FLAGS
from notify.flows.pads import Pad
from notify.render.pad import pad_pdf
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter.check_in_fields import Typed, page_errors
from notify.web.counter.kinds import class_options
from notify.web.counter.printing import pdf
from notify.web.errors import page_label
from notify.web.here import ctx, current_actor, services
from notify.web.pages import Problem, desk, redirect_with, render_page, say

pages = Blueprint("pads", __name__)
PAPERS = (("a4", "A4, one sheet a ticket"), ("a6", "A6, two sheets a ticket"), ("roll80", "80 mm roll"))
AT_ONCE = 10  # so many tickets stay below limits.form_parts, and below what anybody types in one go
_ROW = re.compile(r"r(\d{1,3})-(.+)")
_SAID = ("name", "phone", "email", "device-1", "fault-1")  # a row with none of these was not filled in


@pages.get("/pads")
def show() -> Response:
    """Every pad, and how to get another one."""
    return _page({"tickets": "20"})


@pages.post("/pads/make")
def make() -> Response:
    """Takes numbers for another pad; it is printed from the list."""
    typed = request.form.get("tickets", "")
    try:
        flow.make_pad(ctx(), current_actor(), tickets=fields.whole(typed, field="tickets"))
    except Invalid as error:
        return _page({"tickets": typed}, errors=d.problems(error, {"tickets": "pad-tickets"}), status=422)
    return redirect_with("/pads", "The pad has its numbers. Print it now, and keep it as you keep money.")


@pages.post("/pads/void")
def void() -> Response:
    """A lost ticket, or what is left of a lost pad, opens nothing any more."""
    number, pad_id = request.form.get("number", "").strip(), request.form.get("pad", "")
    try:
        done = flow.make_void(ctx(), current_actor(), number="" if pad_id else number, pad_id=pad_id)
    except (Invalid, NotFound, Conflict) as error:
        problems = [{"field": "" if pad_id else "void-number", "text": str(error)}]
        return _page({"tickets": "20", "number": number}, errors=problems, status=422)
    return redirect_with("/pads", f"{d.capital(d.count(done, 'ticket', 'tickets'))} made void: whoever finds one holds "
                         "a piece of paper.")  # fmt: skip


def _page(typed: dict[str, str], *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    found = flow.list_pads(ctx(), current_actor())
    return render_page(
        "pads.html", here="check_in", status=status, errors=errors, pads=[_line(one) for one in found],
        typed={"tickets": "", "number": "", **typed}, may_void=may(current_actor().role, "reissue"),
    )  # fmt: skip


def _line(pad: Pad) -> dict[str, Any]:
    blank, entered, lost = len(pad.left), len(pad.entered), len(pad.void)
    rest = f", {lost} made void" if lost else ""
    return {
        "id": pad.pad_id, "printed": f"Of {say().when(pad.printed_at)}: {d.count(pad.tickets, 'ticket', 'tickets')}",
        "sentence": f"{blank} blank, {entered} entered{rest}.", "left": list(pad.left),
        "prints": [{"href": f"/pads/{pad.pad_id}/{code}.pdf", "label": label} for code, label in PAPERS if blank],
        "enter_href": f"/pads/{pad.pad_id}/enter" if blank else "",
    }  # fmt: skip


@pages.get("/pads/<pad_id>/<paper>.pdf")
def print_pad(pad_id: str, paper: str) -> Response:
    """The blank tickets of a pad on that paper; the same ones again at each look."""
    blank, language = flow.pages_of(ctx(), current_actor(), pad_id)
    data = pad_pdf(blank, paper=paper, words=services().words.get(language), templates=services().templates,
                   made_at=ctx().clock())  # fmt: skip
    return pdf(data, f"pad-{paper}.pdf")


@pages.get("/pads/<pad_id>/enter")
def rows(pad_id: str) -> Response:
    """The next blank tickets of a pad, each with its own few fields."""
    return _rows(pad_id, {}, once=ctx().new_id())


@pages.post("/pads/<pad_id>/enter")
def enter(pad_id: str) -> Response:
    """Checks in every row that was filled in. One that is wrong stays with what was typed; the others are kept."""
    _left(pad_id)  # somebody else's pad is none
    once, typed = request.form.get("once", "")[:40], _typed()
    filled = {number: one for number, one in typed.items() if _is_filled(one)}
    forms = {number: one.visit_form() for number, one in filled.items()}
    done = flow.enter_all(ctx(), current_actor(), forms)
    said = f"{d.capital(d.count(len(done.done), 'ticket', 'tickets'))} entered."
    if done.refused:
        errors = {number: page_errors(problem) for number, problem in done.refused.items()}
        return _rows(pad_id, filled, once=once, errors=errors, said=said if done.done else "", status=422)
    return redirect_with("/pads", said if done.done else "Nothing was filled in, so nothing was entered.")


def _typed() -> dict[str, Typed]:
    """Number -> the row typed for it. The key of each makes a form that is sent twice count once."""
    found: dict[str, MultiDict[str, str]] = {}
    for key in request.form:
        if row := _ROW.fullmatch(key):
            number = request.form.get(f"r{row[1]}-number", "")[:20]
            found.setdefault(number, MultiDict()).setlist(row[2], request.form.getlist(key))
    once = request.form.get("once", "")[:40]
    for number, row_form in found.items():
        row_form["pad-1"], row_form["once"] = number, f"{once}{number}"
    return {number: Typed.read(row_form) for number, row_form in found.items()}


def _is_filled(one: Typed) -> bool:
    return any((one.visit | one.devices[0]).get(name.removesuffix("-1"), "").strip() for name in _SAID)


def _rows(
    pad_id: str, typed: dict[str, Typed], *, once: str, errors: dict[str, list[Problem]] | None = None,
    said: str = "", status: int = 200,
) -> Response:  # fmt: skip
    wrong = errors or {}
    numbers = [*wrong, *(number for number in _left(pad_id) if number not in wrong)][:AT_ONCE]
    empty = Typed.empty(language=desk().shop.language, once="")
    made = [_row(i, number, typed.get(number, empty)) for i, number in enumerate(numbers, 1)]
    told = [
        {"field": f"r{i}-{one['field']}" if one["field"] else "", "text": f"{number}: {one['text']}"}
        for i, number in enumerate(numbers, 1) for one in wrong.get(number, [])
    ]  # fmt: skip
    return render_page(
        "pad_rows.html", here="check_in", status=status, errors=told, pad_id=pad_id, once=once, rows=made, said=said,
        classes=class_options(), languages=[{"code": one, "label": page_label(one)} for one in LANGUAGES],
        asks=bool(desk().shop.all_well_days), currency=say().sign,
        safety_kinds=[{"code": one, "label": d.word("safety", one)} for one in SAFETY_FLAGS],
    )  # fmt: skip


def _left(pad_id: str) -> tuple[str, ...]:
    """The numbers of a pad that are blank; raises NotFound for no such pad."""
    for one in flow.list_pads(ctx(), current_actor()):
        if one.pad_id == pad_id:
            return one.left
    raise NotFound("There is no such pad here", "Look at the list of pads.")


def _row(i: int, number: str, one: Typed) -> dict[str, Any]:
    return {"i": i, "number": number, **one.visit, **{k: v for k, v in one.devices[0].items() if k != "i"}}

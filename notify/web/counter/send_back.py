"""Parts that go back: by supplier, to be printed and laid into the parcel, and noted once they went."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.flows import returns
from notify.flows.returns import Return, ToSupplier
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("send_back", __name__)


@pages.get("/deliveries/back")
def show() -> Response:
    """The whole list."""
    return _page()


def _page(*, errors: list[Problem] | None = None, status: int = 200) -> Response:
    speak = say()
    return render_page(
        "send_back.html", here="deliveries", status=status, errors=errors, today=speak.day(speak.now),
        groups=[_group(one, speak) for one in returns.view(ctx(), current_actor())],
    )  # fmt: skip


def _group(one: ToSupplier, speak: Say) -> d.Line:
    lines = [_line(part, speak) for part in one.parts]
    return {
        "id": one.supplier_id or "none", "supplier": one.supplier or "a supplier not named", "parts": lines,
        "goes": any(line["ticked"] for line in lines),
        "battery": any(part.battery and not part.never_posted for part in one.parts),
    }  # fmt: skip


def _line(part: Return, speak: Say) -> d.Line:
    told = [("article", part.article), ("order", part.order_ref), ("packing slip", part.slip)]
    named = ", ".join(f"{name} {value}" for name, value in told if value)
    why = d.word("returns", part.why)
    return {
        "id": part.part_id, "name": part.name or "A part", "label": part.label, "why": why, "named": d.capital(named),
        "number": part.number, "asked": part.asked, "never_posted": part.never_posted,
        "cost": speak.money(part.cost) if part.cost is not None else "",
        "ticked": not part.asked and not part.never_posted,
    }  # fmt: skip


@pages.post("/deliveries/sent-back")
def sent_back() -> Response:
    """Notes that the ticked parts went back."""
    try:
        number = returns.send_back(ctx(), current_actor(), request.form.getlist("part"))
    except (Invalid, Conflict, NotAllowed) as error:
        return _page(errors=[{"field": "", "text": d.plain(error)}], status=422)
    return redirect_with("/deliveries/back", f"{d.capital(d.count(number, 'part', 'parts'))} went back.")

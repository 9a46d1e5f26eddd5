"""Another part came than was ordered: ask the customer in one tap, use it anyway, or note only that it is wrong."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.roles import may
from notify.flows import another_came
from notify.flows.view_part import PartSeen, part_seen
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor, services
from notify.web.pages import problems_of, redirect_with, render_page

pages = Blueprint("another", __name__)


@pages.get("/parts/<part_id>/another")
def show(part_id: str) -> Response:
    """The form: what came, and what it costs more or less."""
    return _page(part_id)


def _page(part_id: str, *, typed: dict[str, str] | None = None, error: Invalid | None = None) -> Response:
    seen = part_seen(ctx(), current_actor(), part_id)
    kept = typed or {"came": "", "price": ""}
    return render_page(
        "another_came.html", here="deliveries", status=422 if error else 200,
        errors=problems_of(error, fields={"amount": "price"}) if error else None, part_id=part_id,
        name=seen.name or "The part", number=seen.number, href=f"/tickets/{seen.ticket_id}", device=seen.device,
        stands=_stands(seen), may_ask=may(current_actor().role, "ask") and not seen.asked,
        may_note=seen.state in ("needed", "ordered", "arrived"), may_use=seen.state == "wrong" and not seen.asked,
        **kept,
    )  # fmt: skip


def _stands(seen: PartSeen) -> str:
    if seen.asked:
        return "The customer has been asked whether they take it. Their answer settles it."
    return d.word("part_state", seen.state).capitalize() + "."


@pages.post("/parts/<part_id>/ask")
def ask(part_id: str) -> Response:
    """Notes it and asks the customer."""
    typed = {name: request.form.get(name, "") for name in ("came", "price")}
    seen = part_seen(ctx(), current_actor(), part_id)
    try:
        another_came.ask(ctx(), current_actor(), part_id, **typed, words=services().words.get)
    except Invalid as error:
        return _page(part_id, typed=typed, error=error)
    except (Conflict, NotAllowed) as error:
        return redirect_with(f"/tickets/{seen.ticket_id}", d.plain(error))
    return redirect_with(f"/tickets/{seen.ticket_id}", "The question goes to the customer in a moment.")


@pages.post("/parts/<part_id>/wrong")
def wrong(part_id: str) -> Response:
    """Notes only that another one came; the right one has to be ordered."""
    try:
        another_came.note(ctx(), current_actor(), part_id)
    except (Conflict, NotAllowed) as error:
        return redirect_with("/deliveries", d.plain(error))
    return redirect_with("/deliveries", "Noted: it goes back, and the right one has to be ordered.")


@pages.post("/parts/<part_id>/use")
def use(part_id: str) -> Response:
    """The part that came fits after all."""
    try:
        another_came.use_anyway(ctx(), current_actor(), part_id)
    except (Conflict, NotAllowed) as error:
        return redirect_with("/deliveries", d.plain(error))
    return redirect_with("/deliveries", "The part that came is used; the other one is not needed any more.")

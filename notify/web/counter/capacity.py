"""How many pickups a slot may hold: the recommendation, the picture, and figures to play with. It changes nothing."""

from __future__ import annotations

from urllib.parse import urlencode

from flask import Blueprint, make_response, request
from werkzeug.wrappers import Response

from notify.core.errors import Invalid
from notify.core.roles import may
from notify.flows.view_capacity import WhatIf, view
from notify.render.capacity_chart import CapacityWords, draw_capacity
from notify.web.counter import capacity_says as says
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.pages import Problem, problems_of, render_page

pages = Blueprint("capacity", __name__)
FIELDS = ("people", "minutes", "spread", "no_show", "walk_ins")
PATH = "/pickups/capacity"


@pages.get(PATH)
def show() -> Response:
    """The shop's own figures, or those in the address; what cannot be used is said beside its field."""
    errors: list[Problem] = []
    try:
        seen = view(ctx(), current_actor(), _asked())
    except Invalid as error:
        seen, errors = view(ctx(), current_actor()), problems_of(error)
    query = {} if errors else {name: request.args[name] for name in FIELDS if request.args.get(name, "").strip()}
    typed = {name: request.args.get(name) for name in FIELDS}
    shown = {name: typed[name] if typed[name] is not None else says.as_typed(name, seen) for name in FIELDS}
    return render_page(
        "capacity.html", here="pickups", status=422 if errors else 200, errors=errors, sentence=says.advice(seen),
        now=says.now(seen), split=says.split(seen), without=says.without(seen), tried=bool(query),
        figures=[{**one, "value": shown[one["name"]]} for one in says.figures(seen)],
        rows=says.table(seen), src=f"{PATH}.svg?{urlencode(query)}",
        dark_src=f"{PATH}.svg?{urlencode({**query, 'shade': 'dark'})}", alt=says.in_words(seen),
        settings_href=f"/settings?at_once={seen.best}#hours" if seen.best and seen.best != seen.now else "",
        settings_label=f"Go to the hours, with {d.count(seen.best, 'person', 'people')} at once filled in",
        may_change=may(current_actor().role, "settings"), slot=says.SLOT_NAMES.get(seen.slot_minutes, "slot"),
    )  # fmt: skip


@pages.get(f"{PATH}.svg")
def picture() -> Response:
    """The same figures as a picture; without any use of what is typed wrongly."""
    try:
        seen = view(ctx(), current_actor(), _asked())
    except Invalid:
        seen = view(ctx(), current_actor())
    words = CapacityWords(*says.picture(seen))
    rows = [(row.per_slot, row.over) for row in says.drawn(seen)]
    dark = request.args.get("shade") == "dark"
    answer = make_response(draw_capacity(rows, target=seen.target, words=words, dark=dark))
    answer.content_type = "image/svg+xml"
    return answer


def _asked() -> WhatIf:
    """What the address asks to try. Raises Invalid with every field that is no number."""
    wrong: list[Invalid] = []
    found: dict[str, float | None] = {}
    for name in FIELDS:
        text = request.args.get(name, "").strip().replace(",", ".")
        found[name] = _number(text, name, wrong) if text else None
    if wrong:
        raise Invalid.many(wrong)
    share = found.pop("no_show")
    return WhatIf(**found, no_show=None if share is None else share / 100)


def _number(text: str, name: str, wrong: list[Invalid]) -> float | None:
    try:
        if len(text) > 12 or not set(text) <= set("0123456789."):
            raise ValueError(text)
        return float(text)
    except ValueError:
        wrong.append(Invalid("This is no number", "Write digits only, such as 6.5.", field=name))
        return None

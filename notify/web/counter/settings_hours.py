"""When the counter is open: the week, closed and special days, holidays. What a change would hit is shown first."""

from __future__ import annotations

import re
from datetime import date

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Invalid
from notify.flows import set_up
from notify.flows.set_hours import HoursRow, set_hours
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter import settings_says as says
from notify.web.counter.settings import HOLIDAYS, PICKUP, change
from notify.web.here import ctx, current_actor

pages = Blueprint("settings_hours", __name__)
MOST_ROWS = 60
_ROW_NAME = re.compile("weekday-([0-9]{1,4})")


def _unless_hit() -> bool:
    """Whether pickups may not be hit: until the form says that somebody has seen which."""
    return not request.form.get("agreed")


@pages.post("/settings/hours")
def hours() -> Response:
    """The whole week at once, with how pickups are cut."""
    rows = _typed_rows()
    pickup = {name: request.form[name] for name in PICKUP if name in request.form}  # what is not sent stays
    return change(
        lambda: set_hours(ctx(), current_actor(), [HoursRow(**row) for row in rows], pickups=pickup,
                          unless_hit=_unless_hit()),
        "The hours are kept.", prefix="hours", named={"opens": "", "closes": ""}, hours_change=True, hours=rows,
        pickup=pickup,
    )  # fmt: skip


def _typed_rows() -> list[d.Line]:
    """The rows in the order of the page, empty ones left out, numbered anew."""
    found = (_ROW_NAME.fullmatch(name) for name in request.form)
    numbers = sorted({int(one[1]) for one in found if one})
    rows = [{name: request.form.get(f"{name}-{i}", "") for name in says.ROW} for i in numbers[:MOST_ROWS]]
    kept = [row for row in rows if row["weekday"] or row["opens"] or row["closes"]]
    return [{"i": i, **row} for i, row in enumerate(kept, 1)]


@pages.post("/settings/closed")
def closed() -> Response:
    """Closes a day, gives it special hours, or takes such a note away."""
    form = request.form
    if form.get("open_again"):
        return change(
            lambda: set_up.drop_special_day(ctx(), current_actor(), form["open_again"], unless_hit=_unless_hit()),
            "That day is as every week again.", prefix="closed", hours_change=True,
        )  # fmt: skip
    typed = {name: form.get(name, "") for name in ("day", "opens", "closes", "capacity", "reason")}
    return change(lambda: _special(typed), "The day is noted.", prefix="closed", hours_change=True, special=typed)


def _special(typed: dict[str, str]) -> None:
    opens, closes = fields.clock(typed["opens"], field="opens"), fields.clock(typed["closes"], field="closes")
    capacity = fields.whole(typed["capacity"] or "1", field="capacity", most=1000)
    set_up.add_special_day(ctx(), current_actor(), _day(typed["day"]), opens=opens, closes=closes, capacity=capacity,
                           reason=typed["reason"], unless_hit=_unless_hit())  # fmt: skip


def _day(text: str) -> date:
    chosen = fields.day(text, field="day")
    if chosen is None:
        raise Invalid("No day was named", "Choose one.", field="day")
    return chosen


@pages.post("/settings/holidays")
def holidays() -> Response:
    """Where public holidays are taken from; or opens the shop on one of them as on any such day."""
    form = request.form
    if form.get("open"):
        return change(
            lambda: set_up.open_as_usual(ctx(), current_actor(), _day(form["open"])),
            "You are open on that day.", prefix="holidays", hours_change=True,
        )  # fmt: skip
    typed = {name: form.get(name, "") for name in HOLIDAYS}
    return change(
        lambda: set_up.change_settings(ctx(), current_actor(), typed, unless_hit=_unless_hit()),
        "The public holidays are kept.", prefix="holidays", hours_change=True, holidays=typed,
    )  # fmt: skip

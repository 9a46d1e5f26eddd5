"""The form on the settings page that changes a rule of keeping; what a shorter period would do is shown first."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.flows import keep_rules
from notify.web.counter import desk_words as d
from notify.web.counter import settings
from notify.web.counter.keep_says import asks
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with

pages = Blueprint("settings_keep", __name__)
_NO_PERIOD = {"text": "Data are kept for a number of days above 0. Write digits only, for example 90."}
FIELDS = ("data_class", "days", "clock", "year_end", "source", "reasons")


@pages.post("/settings/retention")
def keep() -> Response:
    """Changes one rule; one that lets more people go in its first night is shown first, and kept when said again."""
    typed: dict[str, Any] = {name: request.form[name].strip() for name in FIELDS if name in request.form}
    typed |= {
        "data_class": typed.get("data_class") or "contact_card",
        "longer_while": request.form.getlist("longer_while"),
    }
    try:
        told = _change(typed, preview=request.form.get("sure") != "1")
        if told.due_more and not told.is_kept:
            return settings.page(status=409, keeping={**typed, "ask": asks(told)})
        told = told if told.is_kept else _change(typed, preview=False)
    except NotifyError as error:
        named = {"period": "retention-days", "clock": "retention-year_end", "source": "retention-source",
                 "exceptions": "retention-longer"}  # fmt: skip
        errors = [
            {**one, **(_NO_PERIOD if one["field"] == "period" else {}),
             "field": named.get(one["field"], "retention-data_class")}
            for one in d.problems(error)
        ]  # fmt: skip
        return settings.page(errors=errors, status=422, keeping=typed)
    return redirect_with("/settings", f"The rule is kept. It counts from {d.day(told.rule.valid_from)}.")


def _change(typed: dict[str, Any], *, preview: bool) -> keep_rules.Changed:
    """The change that a form means: with `reasons` only of what keeps that kind of data longer."""
    if typed.get("reasons"):
        return keep_rules.change_rule(ctx(), current_actor(), typed["reasons"], exceptions=typed["longer_while"],
                                      preview=preview)  # fmt: skip
    days, clock = typed.get("days", ""), typed.get("clock", "")
    return keep_rules.change_rule(
        ctx(), current_actor(), typed["data_class"], preview=preview, source=typed.get("source", ""),
        period=f"P{days}D" if days.isascii() and days.isdigit() else days,
        clock=f"{clock}:{typed.get('year_end', '')}" if clock == "end_of_financial_year" else clock,
    )  # fmt: skip

"""Forms of the settings page about the bench: who repairs, who is away, and what promises are made by."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.absences import typed as day_and_time
from notify.flows import at_bench, set_up
from notify.flows.view_settings import view
from notify.web.counter import away_says as says
from notify.web.counter.settings import PROMISES, change
from notify.web.here import ctx, current_actor

pages = Blueprint("at_bench", __name__)
AWAY = ("from_day", "from_time", "until_day", "until_time")


@pages.post("/settings/bench")
def bench() -> Response:
    """Whether somebody repairs devices."""
    who, repairs = request.form.get("id", ""), bool(request.form.get("repairs"))
    return change(lambda: at_bench.set_bench(ctx(), current_actor(), who, repairs=repairs),
                  lambda: _stands(who), prefix="bench", named={"repairs": f"bench-{who}"})  # fmt: skip


def _stands(who: str) -> str:
    people = view(ctx(), current_actor()).people
    return says.at_bench(next((one.name for one in people if one.id == who), ""), people)


@pages.post("/settings/away")
def away() -> Response:
    """Notes when somebody is not here, or that they are: one's own, and the owner everybody's."""
    form = request.form
    if form.get("back"):
        return change(lambda: at_bench.come_back(ctx(), current_actor(), form["back"]), "Noted.", prefix="away")
    who, typed = form.get("id", ""), {name: form.get(name, "") for name in AWAY}
    noted: list[at_bench.Noted] = []
    return change(lambda: noted.append(_note(who, typed)), lambda: _told(noted[0]), prefix=f"away-{who}",
                  named={"from": f"away-{who}-from_day", "until": f"away-{who}-until_day"},
                  away={"id": who, **typed})  # fmt: skip


def _note(who: str, typed: dict[str, str]) -> at_bench.Noted:
    starts = day_and_time(typed["from_day"], typed["from_time"])
    ends = day_and_time(typed["until_day"], typed["until_time"])
    return at_bench.note_away(ctx(), current_actor(), who, starts, ends)


def _told(noted: at_bench.Noted) -> str:
    zone = view(ctx(), current_actor()).shop.zone
    return " ".join(filter(None, ["Noted.", says.left_empty(noted.empty, zone)]))


@pages.post("/settings/promises")
def promises() -> Response:
    """How sure a promised time is to be, on which step, when staff are warned and what happens then."""
    typed = {name: request.form[name] for name in PROMISES if name in request.form}  # what is not sent stays
    return change(lambda: set_up.change_settings(ctx(), current_actor(), typed), "Kept.", prefix="promises",
                  promises=typed)  # fmt: skip

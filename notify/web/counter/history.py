"""Past repairs: what was learned of them, how well they would have been predicted, and a file to read in."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Invalid, NotifyError
from notify.core.roles import may
from notify.flows import history as flow
from notify.flows.view_learned import Learned, view
from notify.web.counter import desk_words as d
from notify.web.counter.kinds import learned
from notify.web.here import ctx, current_actor, services
from notify.web.pages import Problem, redirect_with, render_page

pages = Blueprint("history", __name__)
PATH = "/settings/history"
_SHOWN = 30  # refused lines
_ORDERS = (("iso", "2026-11-25"), ("dmy", "25.11.2026"), ("mdy", "11/25/2026"))
_EXAMPLE = {
    "iso": "kind,minutes,ended\nCamera shutter,41,2026-11-25\nReader battery,24.5,2026-11-25 16:30",
    "dmy": "kind;minutes;ended\nCamera shutter;41;25.11.2026\nReader battery;24,5;25.11.2026 16:30",
    "mdy": "kind,minutes,ended\nCamera shutter,41,11/25/2026\nReader battery,24.5,11/25/2026 16:30",
}


@pages.get(PATH)
def show() -> Response:
    """What was learned, put to the test."""
    return _page()


@pages.post(f"{PATH}/read")
def read() -> Response:
    """Reads a file in, or only looks at it; lines that are refused are named with their reasons."""
    form, file = request.form, request.files.get("file")
    dates, new_kinds, look = form.get("dates", "iso"), form.get("new_kinds") == "yes", bool(form.get("look"))
    typed = {"dates": dates, "new_kinds": new_kinds}
    try:
        if file is None or not file.filename:
            raise Invalid("No file was chosen", "Choose one, then press again.", field="file")
        done = flow.read_history(ctx(), current_actor(), file.read(), dates=dates, new_kinds=new_kinds,
                                 dry_run=look)  # fmt: skip
    except NotifyError as error:
        fields = {name: f"history-{name}" for name in ("file", "dates")}
        return _page(errors=d.problems(error, fields), status=422, typed=typed)
    if look or done.refused:
        return _page(result=_result(done, look=look), typed=typed)
    return redirect_with(PATH, _sentence(done, look=False))


def _page(
    *, errors: list[Problem] | None = None, status: int = 200, result: dict[str, Any] | None = None,
    typed: dict[str, Any] | None = None,
) -> Response:  # fmt: skip
    seen, chosen = view(ctx(), current_actor()), typed or {"dates": "iso", "new_kinds": False}
    return render_page(
        "history.html", here="settings", status=status, errors=errors, result=result, sentence=_learned(seen),
        may_change=may(current_actor().role, "settings"), **_tested(seen), **chosen,
        kinds=[{"name": one.name, "sentence": learned(one)} for one in seen.kinds if one.jobs or one.kept_out],
        orders=[{"code": code, "label": f"Like {label}"} for code, label in _ORDERS],
        example=_EXAMPLE.get(chosen["dates"], _EXAMPLE["iso"]),
        largest=f"{services().settings.limits.body_kilobytes} kB",
    )  # fmt: skip


def _learned(seen: Learned) -> str:
    if not seen.jobs:
        return "Nothing was learned yet: forecasts go by the usual minutes of each kind."
    kinds = sum(1 for one in seen.kinds if one.jobs)
    read = f", {seen.read:,} of them out of files" if seen.read else ""
    return f"Learned from {d.count(seen.jobs, 'repair', 'repairs')} of {d.count(kinds, 'kind', 'kinds')}{read}."


def _tested(seen: Learned) -> dict[str, Any]:
    test = seen.test
    levels = [
        {"said": f"{one.level:.0%}", "done": f"{one.share:.0%}", "between": f"{one.low:.0%} to {one.high:.0%}",
         "alone": f"{one.share_nominal:.0%}"}
        for one in test.levels
    ]  # fmt: skip
    bars = [{"range": f"{n * 10} to {n * 10 + 10} %", "count": count} for n, count in enumerate(test.histogram)]
    told = f"The newest {d.count(test.jobs, 'repair', 'repairs')}, each predicted from those before it only."
    loss = finding = ""
    if test.levels:
        last = test.levels[-1]
        fits = "as it should be" if last.low <= last.level <= last.high else (
            "fewer than it should be" if last.share < last.level else "more than it should be")  # fmt: skip
        finding = (f"Of the times that {100 * last.level:.0f} of 100 repairs were said to keep, {100 * last.share:.0f} "
                   f"of 100 were kept: {fits}. The usual minutes alone: {100 * last.share_nominal:.0f}.")  # fmt: skip
        loss = (f"Errors of the nine-of-ten times cost {last.loss:.1f} minutes a repair (pinball loss, less is good), "
                f"those of the usual minutes alone {last.loss_nominal:.1f}.")  # fmt: skip
    return {
        "finding": finding,
        "loss": loss,
        "levels": levels,
        "bars": bars if levels else [],
        "tested": told if levels else "",
    }


def _result(done: flow.Read, *, look: bool) -> dict[str, Any]:
    named = ", ".join(f"{name} ({count})" for name, count in done.unknown)
    return {
        "sentence": _sentence(done, look=look),
        "unknown": f"Kinds that are not here: {named}. Add them, or have them made." if named else "",
        "refused": [{"line": line, "why": f"{why}."} for line, why in done.reasons[:_SHOWN]],
        "more": f"And {done.refused - _SHOWN:,} more." if done.refused > _SHOWN else "",
    }


def _sentence(done: flow.Read, *, look: bool) -> str:
    verb = "would be read in" if look else "read in"
    taken = f"{d.capital(d.count(done.taken, 'repair', 'repairs'))} {verb}"
    known = f", {done.known:,} known before" if done.known else ""
    refused = f", {d.count(done.refused, 'line', 'lines')} refused" if done.refused else ""
    made = f" {'To be made' if look else 'Made'}: {', '.join(done.made[:20])}." if done.made else ""
    return f"{taken}{known}{refused}.{made}"

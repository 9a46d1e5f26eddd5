"""Listeners: the list, the form for another one, what can be done with each; a new key is shown once. For owners."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid
from notify.core.listeners import Heard, meaning
from notify.core.roles import may
from notify.flows import listeners as flow
from notify.flows import view_listeners
from notify.flows.listeners import Shown
from notify.web import carry
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor, services, shop_id
from notify.web.pages import Problem, redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("listeners", __name__)
PATH = "/settings/listeners"
_AT = {"name": "listener-name", "address": "listener-address", "kinds": "listener-kinds"}


@pages.get(PATH)
def show() -> Response:
    """Every listener, and a form for another one."""
    return _page({"name": "", "address": "", "kinds": ""})


@pages.post(PATH)
def change() -> Response:
    """Adds a listener, or does to one what the button pressed says."""
    form = request.form
    for name, act in _ACTS.items():
        if form.get(name):
            return redirect_with(PATH, act(form[name]))
    typed = {name: form.get(name, "") for name in _AT}
    try:
        made = flow.add(ctx(), current_actor(), name=typed["name"], address=typed["address"],
                        inner_hosts=services().settings.listeners.inner_hosts,
                        kinds=typed["kinds"].replace(",", " ").split())  # fmt: skip
    except (Invalid, Conflict) as error:
        return _page(typed, errors=d.problems(error, _AT), status=422)
    _keep(made)
    return redirect_with(PATH)


def _keep(made: flow.Made) -> None:
    carry.put("listener", {"name": made.name, "secret": made.secret})


def _pause(listener_id: str) -> str:
    flow.pause(ctx(), current_actor(), listener_id)
    return "It is told nothing for now. What happens meanwhile is told when it goes on."


def _resume(listener_id: str) -> str:
    flow.resume(ctx(), current_actor(), listener_id)
    return "It is told again, from the first event that it has not heard."


def _again(listener_id: str) -> str:
    number = flow.offer_again(ctx(), current_actor(), listener_id)
    return f"{d.capital(d.count(number, 'event is', 'events are'))} offered once more."


def _new_key(listener_id: str) -> str:
    _keep(flow.new_key(ctx(), current_actor(), listener_id))
    return "The key before signs as well for a week."


def _drop(listener_id: str) -> str:
    flow.drop(ctx(), current_actor(), listener_id)
    return "It is told nothing any more, and its address is erased."


def _ping(listener_id: str) -> str:
    name = flow.find(ctx(), current_actor(), listener_id).name
    said = services().teller.ping(shop_id(), listener_id, ctx().new_id())
    if meaning(said.status) is Heard.TAKEN:
        return f"{name} answered well."
    return f"{name} did not take the call: {in_the_way(said.trouble or f'http-{said.status}')}."


_ACTS: dict[str, Callable[[str], str]] = {
    "pause": _pause, "resume": _resume, "again": _again, "key": _new_key, "drop": _drop, "ping": _ping,
}  # fmt: skip


def _page(typed: dict[str, Any], *, errors: list[Problem] | None = None, status: int = 200) -> Response:
    return render_page(
        "listeners.html", here="settings", status=status, errors=errors, listener=typed,
        listeners=[_line(one, say()) for one in flow.list_all(ctx(), current_actor())], made=carry.take("listener"),
    )  # fmt: skip


def _line(one: Shown, speak: Say) -> dict[str, Any]:
    return {
        "id": one.id, "name": one.name, "sentence": sentence(one, speak), "on": one.state == "on",
        "refused": one.refused, "kinds": ", ".join(one.kinds),
    }  # fmt: skip


def sentence(one: Shown, speak: Say) -> str:
    """How it stands, in one or two sentences: "It has heard everything." first where that is so."""
    said = f"{d.capital(d.count(one.behind, 'event is', 'events are'))} still to be told."
    heard = "It has heard everything." if not one.behind else said
    refused = f" It refused {d.count(one.refused, 'event', 'events')}." if one.refused else ""
    if one.state == "paused":
        since = f" since {speak.when(one.trouble_since)}" if one.trouble_since else ""
        why = f"Stopped{since}: {in_the_way(one.trouble)}." if one.trouble else "Paused."
        return f"{why} {heard}{refused}"
    again = f" It is asked again {d.at(speak, one.next_at)}: {in_the_way(one.trouble)}." if one.next_at else ""
    return f"{heard}{refused}{again}"


def in_the_way(code: str) -> str:
    """A code of trouble in words."""
    status = code.removeprefix("http-")
    if status.isdecimal():
        return "it wants no calls any more" if status == "410" else f"it answered {status}"
    return d.word("listener_trouble", code)


def sheet_lines(speak: Say) -> list[d.Line]:
    """What the day sheet says of listeners: those that were given up on, and those that refused something."""
    href = PATH if may(current_actor().role, "settings") else ""
    return [
        d.sheet_line(one.name, f"{sentence(one, speak)} The owner has to look at it.", mark="caution", href=href)
        for one in view_listeners.on_sheet(ctx(), current_actor())
    ]

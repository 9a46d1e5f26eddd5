"""Pickups hit by changed hours: the list, and one press for what a person decides about each."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotFound
from notify.flows import pickup
from notify.flows.hits import TOLD, let_stand
from notify.flows.view_hits import HitLine, view
from notify.flows.view_pickups import visit_of
from notify.flows.view_slots import read_slot
from notify.web.counter import desk_words as d
from notify.web.counter.day_sheet import dial
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, render_page, say
from notify.web.say import Say
from notify.web.times import once

pages = Blueprint("hits", __name__)


@pages.get("/pickups/hit")
def show() -> Response:
    """Everybody whose time no longer fits, until somebody has decided."""
    seen, speak = view(ctx(), current_actor()), say()
    return render_page(
        "hits.html", here="pickups", sentence=sentence(len(seen)), lines=[hit_line(one, speak) for one in seen]
    )


def sentence(number: int) -> str:
    """How many there are, and that a person decides."""
    if not number:
        return "Every pickup fits the hours."
    verb = "no longer fits the hours" if number == 1 else "no longer fit the hours"
    return f"{d.capital(d.count(number, 'pickup', 'pickups'))} {verb}. Nothing is moved unless you press it."


def hit_line(one: HitLine, speak: Say, *, decide: bool = True) -> d.Line:
    """Who, when and why, with what may be decided; without buttons while the change is only looked at."""
    names = d.joined(d.device(line) for line in one.devices)
    about = f"Booked {d.at(speak, one.start_at)}. {d.words()(f'hit.{one.why}')}"
    phone, href = dial(one.phone)
    return d.sheet_line(
        d.person(one.person), f"{about}{f' {d.capital(names)}.' if names else ''}", mark="slot",
        number=one.devices[0].number if one.devices else "", href=f"/visits/{one.visit_id}", phone=phone,
        phone_href=href, buttons=_buttons(one, speak) if decide else [], links=_links(one) if decide else [],
    )  # fmt: skip


def _links(one: HitLine) -> list[d.Line]:
    href = f"/visits/{one.visit_id}/book?why={one.why}"
    return [{"href": href, "label": "Another time", "main": False}] if one.nearest else []


def _buttons(one: HitLine, speak: Say) -> list[d.Line]:
    action, fixed = f"/bookings/{one.booking_id}/settle", {"seen": one.seen, "once": f"{one.seen}:hit", "why": one.why}
    give_up = d.button(action, "Give up and let them choose", main=False, do="give_up", **fixed)
    stays = d.button(action, "It stays as it is", main=False, do="stays", **fixed)
    if one.nearest_at is None:
        return [give_up, stays]
    label = f"Move to {_when(one.nearest_at, speak)}"
    return [d.button(action, label, main=True, do="move", slot=one.nearest, **fixed), give_up, stays]


def _when(moment: datetime, speak: Say) -> str:
    """ "10:15 today", as "Move to …" needs it."""
    said = speak.when(moment)
    return f"{said} today" if said == speak.time(moment) else said


@pages.post("/bookings/<booking_id>/settle")
def settle(booking_id: str) -> Response:
    """What was decided about one pickup; the customer is told of whatever changes."""
    visit_id, _ = visit_of(ctx(), current_actor(), booking_id)
    try:
        said = _settle(booking_id, visit_id)
    except (Conflict, NotFound, Invalid) as error:
        return redirect_with("/pickups/hit", d.plain(error))
    return redirect_with("/pickups/hit", said)


def _settle(booking_id: str, visit_id: str) -> str:
    form, seen = request.form, request.form.get("seen", "")
    if form.get("do") == "stays":
        let_stand(ctx(), current_actor(), booking_id)
        return "The pickup stays as it is."
    if form.get("do") == "give_up":
        done = pickup.cancel(ctx(), current_actor(), visit_id, why=why(), once=once(), seen=seen)
    else:
        local, fold = chosen_slot()
        done = pickup.move(ctx(), current_actor(), visit_id, local, fold=fold, once=once(), why=why(), seen=seen)
    return pickup.say_outcome(done, d.at(say(), done.start_at))


def why() -> str:
    """Why the form moves or gives a pickup up, as the customer is told; empty when hours have nothing to do with it."""
    return TOLD.get(request.form.get("why", ""), "")


def chosen_slot() -> tuple[datetime, int]:
    """The slot of the form; raises Invalid."""
    text = request.form.get("slot", "")
    try:
        return read_slot(text)
    except ValueError:
        what = "This is no pickup time" if text else "No time was chosen, so nothing was changed"
        raise Invalid(what, "Choose one of the list.", field="slot") from None

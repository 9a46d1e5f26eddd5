"""What the forms of the deliveries list do: book in, take back, give to another ticket, order together, name a day."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.claim_number import show_number
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, NotifyError
from notify.flows import arrivals, give_part, parts
from notify.flows.arrivals import Arrived
from notify.flows.find_ticket import ticket_of_part
from notify.flows.view_deliveries import view
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter import part_says as says
from notify.web.counter.back import back_to
from notify.web.counter.deliveries import page
from notify.web.here import ctx, current_actor
from notify.web.pages import problems_of, redirect_with, say

pages = Blueprint("delivery_posts", __name__)


@pages.post("/deliveries/arrived")
def arrived() -> Response:
    """Books every ticked part in; one that cannot be is named, the others are kept, what is missing stays ordered."""
    ids = list(dict.fromkeys(request.form.getlist("part")))
    if not ids:
        return page(errors=[{"field": "", "text": "No part is ticked. Tick those that are here."}], status=422)
    came = arrivals.arrive_all(ctx(), current_actor(), ids, seen=_seen(ids))
    whole = f"{d.capital(d.count(len(came.done), 'part is', 'parts are'))} booked in." if came.done else ""
    left = sum(1 for name in request.form if name.startswith("seen-")) - len(ids)
    said = [whole, _missing(left) if left > 0 and came.done else "", *(sentence(one) for one in came.done)]
    wrong = dict.fromkeys(d.plain(problem) for _, problem in came.refused)
    return redirect_with(back_to("/deliveries"), " ".join(filter(None, [*dict.fromkeys(said), *wrong])))


def _missing(number: int) -> str:
    """That parts of the box were not in it."""
    stay = "stays" if number == 1 else "stay"
    return f"{d.capital(d.count(number, 'part was', 'parts were'))} not in the box and {stay} on order."


def _seen(ids: list[str]) -> dict[str, int]:
    """The changes of each part when the page was shown; none where a form does not say."""
    found = {one: request.form.get(f"seen-{one}", "") for one in ids}
    return {one: int(text) for one, text in found.items() if text.isascii() and text.isdigit() and len(text) < 10}


@pages.post("/parts/<part_id>/arrived")
def one_arrived(part_id: str) -> Response:
    """Books one part in and says what it frees, and to whom it goes."""
    came = arrivals.arrive_all(ctx(), current_actor(), [part_id], seen=_seen([part_id]))
    for _, problem in came.refused:
        if isinstance(problem, NotFound):
            raise problem
        return redirect_with(back_to("/deliveries"), d.plain(problem))
    done = came.done[0]
    return redirect_with(back_to(f"/tickets/{done.ticket_id}"), f"The part is booked in. {sentence(done)}".strip())


def sentence(done: Arrived) -> str:
    """To whom a part went, and what it frees."""
    if done.over:
        return f"Nobody needs it any more for {show_number(done.number)}: it goes back."
    found = next((p for p in view(ctx(), current_actor()).arrived if p.part_id == done.part_id), None)
    free = ""
    if done.frees and found is not None and found.frees:
        who = found.ticket.technician or "whoever is free"
        lies = f", at {found.ticket.shelf}" if found.ticket.shelf else ""
        free = f"{found.ticket.number} has all its parts: {who} can bench the {d.device(found.ticket)}{lies}."
    return " ".join(filter(None, [says.given(done, say()), free]))


@pages.post("/parts/<part_id>/not-here")
def not_here(part_id: str) -> Response:
    """Takes back that a part came in."""
    try:
        arrivals.undo_arrival(ctx(), current_actor(), part_id)
    except NotFound:
        raise
    except NotifyError as error:
        return redirect_with(back_to("/deliveries"), d.plain(error))
    return redirect_with(back_to("/deliveries"), "The part is on order again; what was not sent yet is not sent.")


@pages.post("/parts/<part_id>/give")
def give(part_id: str) -> Response:
    """Gives a part that is here to another ticket."""
    try:
        done = give_part.give_to(ctx(), current_actor(), part_id, request.form.get("to", ""))
    except (Conflict, NotAllowed) as error:
        return redirect_with(back_to("/deliveries"), d.plain(error))
    return redirect_with(back_to("/deliveries"), f"{says.given(done, say())} Print its label anew.")


@pages.post("/parts/<part_id>/dead")
def dead(part_id: str) -> Response:
    """Notes a faulty part; another one of the same is needed and stands under still to order."""
    parts.dead_on_arrival(ctx(), current_actor(), part_id)
    return redirect_with(
        back_to("/deliveries"),
        "The part is noted as faulty. Another one has to be ordered, and this one goes back.",
    )


@pages.post("/parts/<part_id>/line")
def line(part_id: str) -> Response:
    """Notes what became known of an order line."""
    ticket_id = ticket_of_part(ctx(), current_actor(), part_id)
    try:
        parts.note_line(ctx(), current_actor(), [part_id], terms=terms())
    except Invalid as error:
        return redirect_with(back_to(f"/tickets/{ticket_id}"), d.plain(error))
    return redirect_with(back_to(f"/tickets/{ticket_id}"), "The order line is noted.")


def terms() -> parts.Terms:
    """What a form says of an order line."""
    return parts.Terms(**{name: request.form.get(name, "") for name in ("article", "order_ref", "slip", "cost")})


@pages.post("/deliveries/ordered")
def ordered() -> Response:
    """Notes one order for every ticked part."""
    typed = {name: request.form.get(name, "") for name in ("supplier", "due", "order_ref")}
    try:
        due = fields.day(typed["due"], field="due")
        if not typed["supplier"]:
            raise Invalid("No supplier is chosen", "Choose whom they were ordered from.", field="supplier")
        at = parts.order_together(
            ctx(), current_actor(), request.form.getlist("part"), supplier=typed["supplier"], due=due, terms=terms()
        )
    except (Conflict, Invalid, NotAllowed) as error:
        return page(errors=problems_of(error), status=422, typed=typed)
    return redirect_with("/deliveries", f"The order is noted. It should be here {say().by(at)}.")


@pages.post("/deliveries/due")
def due() -> Response:
    """Notes another day for all parts of a box."""
    try:
        day = fields.day(request.form.get("due", ""), field="")
        if day is None:
            raise Invalid("No day was named", "Choose the day it comes.")
        parts.change_due_of(ctx(), current_actor(), request.form.getlist("part"), due=day)
    except Invalid as error:
        return page(errors=[{"field": "", "text": d.plain(error)}], status=422)
    return redirect_with("/deliveries", "The new day is noted. Promise another time where this one is too late.")

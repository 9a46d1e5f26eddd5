"""What the forms of a ticket's page do with others: questions, answers, parts, promises."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, NotifyError
from notify.flows import parts, promises, questions
from notify.flows.find_ticket import ticket_of_part, ticket_of_question
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter.back import back_to
from notify.web.counter.promise_part import preview
from notify.web.counter.ticket import Typed, page
from notify.web.counter.ticket_posts import again
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, say

pages = Blueprint("ticket_asks", __name__)


@pages.post("/tickets/<ticket_id>/questions")
def ask(ticket_id: str) -> Response:
    """Asks the customer something."""
    typed = {name: request.form.get(name, "") for name in ("kind", "wording", "price", "until")}
    try:
        until = fields.moment(typed["until"], say(), field="until")
        questions.ask(
            ctx(), current_actor(), ticket_id, kind=typed["kind"], wording=typed["wording"], price=typed["price"],
            until=until,
        )  # fmt: skip
    except (Invalid, Conflict) as error:
        return again(ticket_id, error, {"question": {**typed, "open": True}}, fields={"amount": "price"})
    return redirect_with(f"/tickets/{ticket_id}", "The question goes to the customer in a moment.")


@pages.post("/questions/<question_id>/answer")
def answer(question_id: str) -> Response:
    """Enters what the customer said, with who said it."""
    said_by = request.form.get("said_by", "")
    ticket_id = ticket_of_question(ctx(), current_actor(), question_id)
    try:
        questions.answer(ctx(), current_actor(), question_id, answer=request.form.get("answer", ""), said_by=said_by)
    except Invalid as error:
        named = {"said_by": f"said_by-{question_id}", "answer": f"said_by-{question_id}"}
        return again(ticket_id, error, {"answering": question_id, "said_by": said_by}, fields=named)
    except Conflict as error:
        return page(ticket_id, refused=d.plain(error), status=409)
    return redirect_with(f"/tickets/{ticket_id}", "The answer is noted.")


@pages.post("/questions/<question_id>/withdraw")
def withdraw(question_id: str) -> Response:
    """The shop no longer needs to know."""
    ticket_id = ticket_of_question(ctx(), current_actor(), question_id)
    try:
        questions.withdraw(ctx(), current_actor(), question_id)
    except Conflict as error:
        return page(ticket_id, refused=d.plain(error), status=409)
    return redirect_with(f"/tickets/{ticket_id}", "The question is withdrawn.")


@pages.post("/tickets/<ticket_id>/parts")
def need(ticket_id: str) -> Response:
    """Notes a part, ordered at once when a supplier is named."""
    typed = {name: request.form.get(name, "") for name in ("part", "supplier", "due", "article", "quantity")}
    try:
        due = fields.day(typed["due"], field="due")
        if due and not typed["supplier"]:
            raise Invalid("Only an ordered part has a day", "Choose whom it was ordered from.", field="supplier")
        parts.need(
            ctx(), current_actor(), ticket_id, name=typed["part"], supplier=typed["supplier"], due=due,
            terms=parts.Terms(article=typed["article"]),
            quantity=fields.whole(typed["quantity"] or "1", field="quantity"),
        )  # fmt: skip
    except (Invalid, NotFound) as error:
        return again(ticket_id, error, {"part": {**typed, "open": True}})
    return redirect_with(f"/tickets/{ticket_id}", "The part is noted.")


@pages.post("/parts/<part_id>/order")
def order(part_id: str) -> Response:
    """Notes that a part was ordered; without a day the supplier's habits say when it comes."""
    typed = {name: request.form.get(name, "") for name in ("supplier", "due")}
    ticket_id = ticket_of_part(ctx(), current_actor(), part_id)
    try:
        due = fields.day(typed["due"], field="due")
        terms = parts.Terms(order_ref=request.form.get("order_ref", ""))
        expected = parts.order(ctx(), current_actor(), part_id, supplier=typed["supplier"], due=due, terms=terms)
    except (Invalid, NotFound, NotAllowed) as error:
        return _part_again(ticket_id, part_id, error, typed)
    said = f" It should be here {say().by(expected)}." if expected else ""
    return redirect_with(back_to(f"/tickets/{ticket_id}"), f"The order is noted.{said}")


@pages.post("/parts/<part_id>/due")
def delay(part_id: str) -> Response:
    """Notes another day of delivery."""
    text = request.form.get("due", "")
    ticket_id = ticket_of_part(ctx(), current_actor(), part_id)
    try:
        due = fields.day(text, field="due")
        if due is None:
            raise Invalid("No day was named", "Choose the day it comes.", field="due")
        parts.change_due(ctx(), current_actor(), part_id, due=due)
    except (Invalid, NotAllowed) as error:
        return _part_again(ticket_id, part_id, error, {"due": text})
    return redirect_with(
        back_to(f"/tickets/{ticket_id}"), "The new day is noted. Promise another time if this one is too late."
    )


def _part_again(ticket_id: str, part_id: str, error: NotifyError, typed: dict[str, str]) -> Response:
    named = {"supplier": f"supplier-{part_id}", "due": f"due-{part_id}"}
    return again(ticket_id, error, {"part_id": part_id, **typed}, fields=named)


@pages.post("/parts/<part_id>/not-needed")
def not_needed(part_id: str) -> Response:
    """Notes that a part is no longer wanted."""
    ticket_id = ticket_of_part(ctx(), current_actor(), part_id)
    try:
        parts.not_needed(ctx(), current_actor(), part_id)
    except NotAllowed as error:
        return page(ticket_id, refused=d.plain(error), status=409)
    return redirect_with(back_to(f"/tickets/{ticket_id}"), "The part is no longer needed.")


@pages.post("/tickets/<ticket_id>/promise")
def promise(ticket_id: str) -> Response:
    """Tells a ready time, or another one with its reason; with `look` it only shows what would be read."""
    typed: Typed = {"promise": request.form.get("promise", ""), "why": request.form.get("why", "other")}
    try:
        at = fields.moment(typed["promise"], say(), field="promise")
        if at is None:
            raise Invalid("No time was named", "Choose the day and the time.", field="promise")
        if "look" in request.form:
            why = typed["why"] if typed["why"] in promises.WHY else "other"
            return page(ticket_id, typed={**typed, "preview": preview(ticket_id, at, why)})
        promises.promise(ctx(), current_actor(), ticket_id, at, why=typed["why"] or "other")
    except Invalid as error:
        return again(ticket_id, error, dict(typed))
    except Conflict as error:
        return page(ticket_id, refused=d.plain(error), status=409)
    return redirect_with(back_to(f"/tickets/{ticket_id}"), f"Promised for {say().by(at)}.")

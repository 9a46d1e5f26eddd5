"""Sign in, sign out, and let another person take over at a shared counter."""

from __future__ import annotations

from flask import Blueprint, redirect, request
from werkzeug.wrappers import Response

from notify.core.errors import Invalid, NotAllowed, NotFound, NotifyError, TooOften
from notify.flows import staff
from notify.flows.view_staff import view_staff
from notify.web import sessions, shop
from notify.web.access import safe_next
from notify.web.errors import status_of
from notify.web.here import ctx, current_actor, services, shop_id, signed_in
from notify.web.pages import ROLES, Problem, problems_of, redirect_with, render_page

pages = Blueprint("sign_in", __name__)


@pages.get("/sign-in")
def show() -> Response:
    """The form; `next` is where to go on to."""
    return _form(next_page=safe_next(request.args.get("next", "")))


@pages.post("/sign-in")
def sign_in() -> Response:
    """Starts a session, or says in the same words that name or password is wrong."""
    web, form = services().settings.web, request.form
    next_page = safe_next(form.get("next", ""))
    try:
        where = shop.chosen(services().shop_ids(), form.get("shop", ""))
        person = staff.sign_in(
            ctx(), where, name=form.get("name", ""), password=form.get("password", ""),
            source=request.remote_addr or "", tries_an_hour=services().settings.limits.sign_in_tries_an_hour,
        )  # fmt: skip
    except TooOften as error:
        return _form(name=form.get("name", ""), next_page=next_page, wait=str(error), status=429)
    except (Invalid, NotAllowed) as error:
        return _form(name=form.get("name", ""), next_page=next_page, errors=problems_of(error), status=_wrong(error))
    before = signed_in()
    if before is not None:
        staff.sign_out(ctx(), shop_id(), before.secret)
    return sessions.begin(redirect(next_page or "/", code=303), web, where, person)


def _wrong(error: NotifyError) -> int:
    return 422 if status_of(error) == 403 else status_of(error)


def _form(
    *, name: str = "", next_page: str = "", wait: str = "", errors: list[Problem] | None = None, status: int = 200
) -> Response:
    shops = shop.choices(ctx(), services().shop_ids())
    return render_page(
        "sign_in.html", status=status, errors=errors, name=name, next=next_page, wait=wait, shops=shops,
        shop_chosen=request.form.get("shop", ""), staff=None,
    )  # fmt: skip


@pages.post("/sign-out")
def sign_out() -> Response:
    """Ends the session on the server, then in the browser."""
    person = signed_in()
    if person is not None:
        staff.sign_out(ctx(), shop_id(), person.secret)
    return sessions.end(redirect("/sign-in", code=303), services().settings.web)


@pages.get("/who")
def who() -> Response:
    """Who stands here now? A PIN is enough."""
    return _who()


@pages.post("/who")
def switch() -> Response:
    """The session goes to the other person; the one before ends."""
    person, chosen = signed_in(), request.form.get("staff", "")
    assert person is not None  # the list of routes asks for it
    try:
        other = staff.switch(
            ctx(), shop_id(), person.secret, staff_id=chosen, pin=request.form.get("pin", ""),
            tries_an_hour=services().settings.limits.sign_in_tries_an_hour,
        )  # fmt: skip
    except (NotAllowed, NotFound) as error:
        errors = problems_of(error, fields={"name": "pin", "": "staff"})
        return _who(chosen=chosen, errors=errors, status=429 if isinstance(error, TooOften) else 422)
    return sessions.begin(redirect_with("/"), services().settings.web, shop_id(), other)


def _who(*, chosen: str = "", errors: list[Problem] | None = None, status: int = 200) -> Response:
    person = signed_in()
    people = [
        {"id": one.id, "name": one.name, "role_words": ROLES[one.role], "here": one.id == (person and person.staff_id)}
        for one in view_staff(ctx(), current_actor())
        if one.active
    ]
    return render_page("who.html", status=status, errors=errors, people=people, chosen=chosen)

"""What text messages cost: this month in a sentence, the last twelve on a page of their own."""

from __future__ import annotations

from decimal import Decimal

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.core.cost import minor_units
from notify.flows.view_cost import Cost, Month, view
from notify.render.dates import say_month
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page, say
from notify.web.say import Say

pages = Blueprint("cost", __name__)


@pages.get("/messages/cost")
def show() -> Response:
    """The last twelve months, by kind of message."""
    seen, speak = view(ctx(), current_actor()), say()
    return render_page(
        "cost.html", here="messages", sentence=_price(seen), months=[_month(one, speak) for one in seen.months],
    )  # fmt: skip


def this_month(speak: Say) -> str:
    """ "This month: 14 text messages in 16 parts, £0.72."; "" while none has left."""
    seen = view(ctx(), current_actor())
    today = speak.local(speak.now).date()
    own = next((one for one in seen.months if one.first == today.replace(day=1)), None)
    return f"This month: {_sum(own, speak)}" if own else ""


def _month(one: Month, speak: Say) -> d.Line:
    return {
        "name": say_month(one.first, language=speak.language), "sentence": d.capital(_sum(one, speak)),
        "price": f"One part cost {_exact(one.price)}." if one.price is not None else "",
        "kinds": [
            {"name": d.staff_word("notice", kind.notice), "messages": str(kind.messages), "parts": str(kind.parts),
             "amount": _money(kind.amount, speak)} for kind in one.by_notice
        ],
    }  # fmt: skip


def _sum(one: Month, speak: Say) -> str:
    texts = d.count(one.messages, "text message", "text messages")
    parts = d.count(one.parts, "part", "parts")
    return f"{texts} in {parts}{f', {_money(one.amount, speak)}' if one.amount is not None else ''}."


def _money(amount: Decimal | None, speak: Say) -> str:
    return "" if amount is None else speak.money(minor_units(amount, currency=speak.currency))


def _price(seen: Cost) -> str:
    if seen.price is None:
        return "What a text message costs is not set, so only parts are counted."
    return f"Each part of a text message costs {_exact(seen.price)} {seen.currency} now."


def _exact(price: Decimal) -> str:
    return f"{price.normalize():f}"

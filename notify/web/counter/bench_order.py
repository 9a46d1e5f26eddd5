"""The order of the bench on the day sheet: a better one with its reason, the one that stands, and their buttons."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict
from notify.core.roles import may
from notify.flows import bench_order as flow
from notify.flows.find_ticket import number_of
from notify.flows.view_bench_order import BenchOrder, Better, Stands
from notify.flows.view_lines import TicketLine
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with
from notify.web.say import Say

pages = Blueprint("bench_order", __name__)


def order_lines(order: BenchOrder, speak: Say) -> list[d.Line]:
    """What is said before the devices of the bench; nothing in the usual order when no better one is known."""
    able = may(current_actor().role, "move")
    return [
        *([better_line(order.better, speak, able=able)] if order.better else []),
        *([stands_line(order.stands, speak, able=able)] if order.stands else []),
    ]


def better_line(better: Better, speak: Say, *, able: bool = True) -> d.Line:
    """The suggestion in words, with a button to take it and one to leave the order as it is."""
    buttons = [
        d.button(f"/bench/{better.order_id}/take", "Take this order", back="/"),
        d.button(f"/bench/{better.order_id}/refuse", "Leave it as it is", back="/"),
    ]
    return d.ticket_line(better.moved, better_says(better, speak), id="better", buttons=buttons if able else [])


def better_says(better: Better, speak: Say) -> str:
    """ "A better order: take this one first. 1.3 promises more would be kept on average (8.7 instead of 7.4) …"."""
    words = d.words()
    gain = words("better.gain", gain=f"{better.gain:.1f}", after=f"{better.kept_after:.1f}",
                 before=f"{better.kept_before:.1f}", why=_why(better, speak))  # fmt: skip
    others = d.count(better.others, "other changes its place", "others change their places")
    also = words("better.others", others=d.capital(others)) if better.others else ""
    only = words("better.only", most=better.only_first) if better.only_first else ""
    return " ".join(part for part in (_what(better), gain, also, only) if part)


def _what(better: Better) -> str:
    words, other = d.words(), better.ahead_of
    if better.why not in ("sooner", "sooner_costs"):
        return words("better.later", other=_named(other)) if other else words["better.last"]
    return words["better.first"] if better.is_first or other is None else words("better.before", other=_named(other))


def _why(better: Better, speak: Say) -> str:
    promised = better.moved.promise_at
    code = better.why if promised or better.why not in ("sooner", "sooner_costs") else f"{better.why}_unpromised"
    values = {"promise": speak.by(promised)} if promised and code in ("sooner", "sooner_costs") else {}
    return d.words()(f"better_why.{code}", **values)


def _named(line: TicketLine | None) -> str:
    return f"{d.device(line)} ({line.number})" if line else ""


def stands_line(stands: Stands, speak: Say, *, able: bool = True) -> d.Line:
    """Since when and by whom the order is another than the usual one."""
    by = d.words()("bench_stands.by", by=stands.by) if stands.by else ""
    kind = "by_hand" if stands.by_hand else "suggested"
    said = d.words()(f"bench_stands.{kind}", at=d.at(speak, stands.since), by=by)
    usual = [d.button("/bench/usual", "Back to the usual order", back="/")]
    return d.sheet_line("The order of the bench", said, id="bench-order", buttons=usual if able else [])


def next_button(line: TicketLine) -> d.Line:
    """One tap that puts a device before all others in line."""
    return d.button(f"/tickets/{line.ticket_id}/next", "Take it next", back="/")


@pages.post("/bench/<order_id>/take")
def take(order_id: str) -> Response:
    """Follows the suggestion."""
    return _answer(lambda: flow.take(ctx(), current_actor(), order_id), d.words()["bench_done.taken"])


@pages.post("/bench/<order_id>/refuse")
def refuse(order_id: str) -> Response:
    """Leaves the order as it is."""
    return _answer(lambda: flow.refuse(ctx(), current_actor(), order_id), d.words()["bench_done.refused"])


@pages.post("/bench/usual")
def usual() -> Response:
    """The usual order again."""
    return _answer(lambda: flow.back_to_usual(ctx(), current_actor()), d.words()["bench_done.usual"])


@pages.post("/bench/undo")
def undo() -> Response:
    """The order as it was before the last change."""
    order_id = request.form.get("event", "")
    return _answer(lambda: flow.undo(ctx(), current_actor(), order_id), d.words()["bench_done.undone"])


@pages.post("/tickets/<ticket_id>/next")
def take_next(ticket_id: str) -> Response:
    """Puts this device before all others in line."""
    said = d.words()("bench_done.next", number=number_of(ctx(), current_actor(), ticket_id))
    return _answer(lambda: flow.take_next(ctx(), current_actor(), ticket_id), said)


def _answer(act: Callable[[], str | None], said: str) -> Response:
    """Says what was done, with Undo where there is something to undo; or why it was not done."""
    try:
        order_id = act()
    except Conflict as error:
        return redirect_with(back_to("/"), d.plain(error))
    undo_it = {"action": "/bench/undo", "event": order_id, "label": "Undo"} if order_id else None
    return redirect_with(back_to("/"), said, undo=undo_it)

"""What is said of parts that came, that did not, and of whom they go to."""

from __future__ import annotations

from datetime import datetime

from notify.core.claim_number import show_number
from notify.core.part_match import Why
from notify.flows.arrivals import Arrived
from notify.flows.part_gifts import Given
from notify.flows.view_deliveries import Box, PartLine, Usual
from notify.web.counter import desk_words as d
from notify.web.say import Say

_LATER = ("on the day", "one working day later", "two later", "three later", "later still")


def given(done: Arrived, speak: Say) -> str:
    """To whom a piece went, and why: one sentence, empty when it went where it was ordered for."""
    one = done.given
    if one is None:
        return ""
    here, other = show_number(done.number), show_number(one.other_number)
    if one.why is Why.CHOSEN:
        return f"It is {here}'s now, and {other} waits for the next one."
    if one.why is Why.OVER:
        return f"It goes to {here}: nobody waits for {other} any more."
    return f"It goes to {here}: {_because(one, speak)}"


def _because(one: Given, speak: Say) -> str:
    mine, theirs = _by(one.promise, speak), _by(one.other_promise, speak)
    waits = f"the other waits until {theirs}" if theirs else "nothing is promised for the other"
    if one.why is Why.LONGER or not mine:
        return "it has waited longer than the other."
    if one.why is Why.EARLIER:
        return f"its promise is {mine}; {waits}."
    return f"its promise is {mine}, and hangs on this part; {waits}."


def _by(moment: datetime | None, speak: Say) -> str:
    return speak.when(moment) if moment else ""


def usual(one: Usual | None) -> str:
    """How a supplier usually delivers, and how late it came so far."""
    if one is None:
        return ""
    by = f"about {one.delivers_at:%H:%M}" if one.delivers_at else ""
    days = {0: "the same day", 1: "the next working day"}.get(one.days, f"after {one.days} working days")
    parcels = sum(one.delays)
    came = f" Came on its day {one.delays[0]} of {parcels} times." if parcels else ""
    late = [f"{n} {words}" for n, words in zip(one.delays[1:], _LATER[1:], strict=False) if n]
    behind = f" Late: {', '.join(late)}." if late else ""
    return f"Usually here {', '.join(filter(None, (days, by)))}.{came}{behind}"


def hangs(box: Box, speak: Say) -> str:
    """Which promises hang on a box, the earliest first; at most three by name."""
    found = box.promised()
    named = [f"{one.number} ({speak.when(one.promise_at)})" for one in found[:3] if one.promise_at]
    more = f" and {len(found) - 3} more" if len(found) > 3 else ""
    return f"Promised, and waiting for it: {', '.join(named)}{more}." if named else ""


def short(part: PartLine, speak: Say) -> str:
    """That a part was missing in its box."""
    if part.short_since is None:
        return ""
    who = part.supplier or "the supplier"
    return f"Others of its box came {d.at(speak, part.short_since)}, this one did not. Ask {who} where it is."


def line(part: PartLine, speak: Say) -> str:
    """What is known of its order: article, order, packing slip, cost."""
    told = [("Article", part.article), ("order", part.order_ref), ("slip", part.slip)]
    named = [f"{name} {value}" for name, value in told if value]
    cost = [f"costs {speak.money(part.cost)}"] if part.cost is not None else []
    return f"{d.capital(', '.join([*named, *cost]))}." if named or cost else ""

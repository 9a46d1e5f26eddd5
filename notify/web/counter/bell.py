"""The shop's bell on the sheets: one line for each ring."""

from __future__ import annotations

from notify.flows.view_bell import Rang, view
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor
from notify.web.say import Say


def lines(speak: Say) -> list[d.Line]:
    """The lines that a sheet shows at its top."""
    return [_line(one, speak) for one in view(ctx(), current_actor())]


def _line(one: Rang, speak: Say) -> d.Line:
    device = one.device or d.word("device_class", one.device_class)
    return {"stamp": one.stamp, "at": speak.time(one.at), "number": one.number, "href": f"/tickets/{one.ticket_id}",
            "sentence": d.word("rang", one.kind, device=device)}  # fmt: skip

"""Parts: what scripts read and do, one flow each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from notify.core.claim_number import show_number
from notify.core.parts import MISSING
from notify.flows import parts, view_api
from notify.flows.find_ticket import ticket_of_part
from notify.web.api import told
from notify.web.api.call import Call, Do, when

Given = Mapping[str, Any]


def _list(call: Call) -> Given:
    states = (call.query["state"],) if "state" in call.query else tuple(sorted(MISSING))
    page = view_api.parts_page(call.ctx, call.actor, states=states, after=call.query.get("after", ""),
                               limit=call.query["limit"])  # fmt: skip
    return {"parts": [told.part(one) for one in page.lines], "next": page.next or None}


def _need(call: Call) -> Given:
    new = parts.need(call.ctx, call.actor, call.at["ticket_id"], name=call.body["name"],
                     supplier=call.body.get("supplier", ""), due=call.instant("due"))  # fmt: skip
    return {"ticket": call.at["ticket_id"], "part": new}


def _about(call: Call) -> dict[str, Any]:
    part_id = call.at["part_id"]
    return {"ticket": ticket_of_part(call.ctx, call.actor, part_id), "part": part_id}


def _order(call: Call) -> Given:
    due = parts.order(call.ctx, call.actor, call.at["part_id"], supplier=call.body["supplier"], due=call.instant("due"))
    return {**_about(call), "due_at": when(due)}


def _due(call: Call) -> Given:
    due = call.instant("due")
    assert due is not None  # the shape asks for it
    parts.change_due(call.ctx, call.actor, call.at["part_id"], due=due)
    return _about(call)


def _arrived(call: Call) -> Given:
    came = parts.arrive(call.ctx, call.actor, call.at["part_id"])
    return {"ticket": came.ticket_id, "part": came.part_id, "number": show_number(came.number), "frees": came.frees}


def _dead(call: Call) -> Given:
    new = parts.dead_on_arrival(call.ctx, call.actor, call.at["part_id"])
    return {**_about(call), "part": new}


def _not_needed(call: Call) -> Given:
    parts.not_needed(call.ctx, call.actor, call.at["part_id"])
    return _about(call)


DO: dict[str, Do] = {
    "list_parts": _list, "need_part": _need, "order_part": _order, "change_due": _due, "part_arrived": _arrived,
    "part_dead": _dead, "part_not_needed": _not_needed,
}  # fmt: skip

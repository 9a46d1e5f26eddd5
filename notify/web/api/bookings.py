"""Pickups: free times, the pickups of a day, booking, moving and giving up; one flow each."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from notify.core.errors import Invalid
from notify.flows import pickup, view_pickups
from notify.flows.view_api import need_visit
from notify.store.bookings import Booking
from notify.web.api.call import Call, Do, when
from notify.web.api.reading import read_day

Given = Mapping[str, Any]


def _slots(call: Call) -> Given:
    visit_id = call.at["visit_id"]
    need_visit(call.ctx, call.actor, visit_id)
    found = pickup.offers(call.ctx, call.actor, visit_id)
    return {"visit": visit_id, "slots": [
        {"start": f"{one.slot.local:%Y-%m-%dT%H:%M}", "fold": one.slot.fold, "at": when(one.slot.start),
         "until": when(one.slot.end), "free": one.free}
        for one in found
    ]}  # fmt: skip


def _list(call: Call) -> Given:
    day = read_day(call.query["day"]) if "day" in call.query else None
    seen = view_pickups.view(call.ctx, call.actor, day=day)
    return {"day": seen.day.isoformat(), "bookings": [
        {"booking": one.booking_id, "visit": one.visit_id, "state": one.state, "at": when(one.start_at),
         "until": when(one.end_at), "person": one.person if call.sees_contacts else None,
         "ready": [line.ticket_id for line in one.ready], "waiting": [line.ticket_id for line in one.waiting]}
        for one in (*seen.pickups, *seen.over)
    ]}  # fmt: skip


def _booked(one: Booking) -> Given:
    return {"booking": one.id, "visit": one.visit_id, "state": one.state, "at": when(one.start_at),
            "until": when(one.end_at), "revision": one.revision}  # fmt: skip


def _book(call: Call) -> Given:
    try:
        local = datetime.strptime(call.body["start"], "%Y-%m-%dT%H:%M")  # noqa: DTZ007 - a wall time of the shop
    except ValueError:
        raise Invalid("There is no such day or time", "Take one of the free times.", field="start") from None
    need_visit(call.ctx, call.actor, call.at["visit_id"])
    return _booked(pickup.book(call.ctx, call.actor, call.at["visit_id"], local, fold=call.body.get("fold", 0)))


def _cancel(call: Call) -> Given:
    return _booked(pickup.cancel(call.ctx, call.actor, call.at["visit_id"]))


DO: dict[str, Do] = {"list_slots": _slots, "list_bookings": _list, "book": _book, "cancel_booking": _cancel}

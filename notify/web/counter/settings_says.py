"""What the page of settings says of what is stored: rows of hours, closed days, people, suppliers, forgetting."""

from __future__ import annotations

from datetime import datetime, time

from flask import request

from notify.core.hours import Hours
from notify.core.instants import instant, zone
from notify.core.roles import may
from notify.core.shop import PROMISE_TICKS
from notify.flows.feeds import Feed
from notify.flows.hits import WouldHit
from notify.flows.view_hits import view_would_be
from notify.flows.view_settings import Day, Holiday, Person, Settings
from notify.web.counter import desk_words as d
from notify.web.counter.away_says import away
from notify.web.counter.hits import hit_line
from notify.web.here import ctx, current_actor
from notify.web.pages import ROLES
from notify.web.say import Say

TICKS = [{"code": str(one), "label": f"{one} minutes"} for one in PROMISE_TICKS]
RULES = [
    {"code": "ask", "label": "You are warned and decide"},
    {"code": "tell", "label": "The customer is told a new time at once"},
]
ROW = ("weekday", "opens", "closes", "capacity", "valid_from", "valid_until")


def stored_row(i: int, row: Hours) -> d.Line:
    """One row of opening hours as the form shows it; `i` is its number there."""
    return {
        "i": i, "weekday": str(row.weekday), "opens": f"{row.opens:%H:%M}", "closes": f"{row.closes:%H:%M}",
        "capacity": str(row.capacity), "valid_from": str(row.valid_from), "valid_until": str(row.valid_until or ""),
    }  # fmt: skip


def with_capacity(row: d.Line, at_once: int) -> d.Line:
    """The row with another number of people at once."""
    return {**row, "capacity": str(at_once)}


def empty_row(i: int) -> d.Line:
    """The row that is there to be filled."""
    return {"i": i, **dict.fromkeys(ROW, "")}


def closed(one: Day, speak: Say) -> dict[str, str]:
    """A special day in a sentence."""
    noon = instant(datetime.combine(one.day, time(12)), zone(speak.zone))
    year = f" {one.day.year}" if one.day.year != speak.local(speak.now).year else ""
    open_from = f", open {one.opens:%H:%M} to {one.closes:%H:%M}" if one.opens and one.closes else ", closed"
    open_from = ", open as usual" if one.as_usual else open_from
    why = f" ({one.reason})" if one.reason else ""
    return {"day": one.id, "label": f"{speak.day(noon)}{year}{open_from}{why}"}


def holiday(one: Holiday, speak: Say) -> d.Line:
    """A public holiday by name; `day` is sent when the shop is open on it."""
    noon = instant(datetime.combine(one.day, time(12)), zone(speak.zone))
    stands = "closed" if one.is_closed else "as you noted above"
    return {
        "day": str(one.day) if one.is_closed else "",
        "label": f"{speak.day(noon)} {one.day.year}: {one.name}, {stands}",
    }


def would_hit(error: WouldHit, speak: Say) -> d.Line:
    """What a change would hit, and the form that was sent, to be sent once more by whoever has seen it."""
    lines = [hit_line(one, speak, decide=False) for one in view_would_be(ctx(), current_actor(), error.hits)]
    number = d.capital(d.count(len(error.hits), "pickup", "pickups"))
    sent = [{"name": name, "value": value} for name, value in request.form.items(multi=True)
            if name not in ("csrf_token", "agreed")]  # fmt: skip
    return {"sentence": f"{number} would no longer fit. Nothing is changed yet.", "lines": lines,
            "action": request.path, "fields": sent}  # fmt: skip


def people(seen: Settings) -> list[d.Line]:
    """Who works here, whether they repair, when they are away, and where the bell rings for them."""
    me = current_actor()
    return [
        {"id": p.id, "name": p.name, "role_words": ROLES[p.role], "you": p.id == me.id, "rings": rings_words(p),
         "rings_by": p.rings_by, "has_bell": bool(p.email or p.phone),
         "may_ring": p.id == me.id or may(me.role, "staff"), "repairs": p.at_bench,
         "away": [{"id": one.id, "label": away(one, seen.shop.zone)} for one in p.away]}
        for p in seen.people
    ]  # fmt: skip


def rings_words(one: Person) -> str:
    """Where the shop's bell rings for somebody, in a sentence; addresses are masked."""
    where = {"email": one.email, "sms": one.phone, "both": f"{one.email} and {one.phone}"}.get(one.rings_by, "")
    return d.words()(f"rings.{one.rings_by}", where=where) if where else d.words()("rings.none")


def feed(one: Feed, speak: Say) -> dict[str, str]:
    """An address of the shop's own calendar: whom for, since when, by whom."""
    by = f" by {one.by}" if one.by else ""
    return {"id": one.id, "name": one.name, "sentence": f"Made {speak.day(one.made_at)}{by}."}


def typed(value: object) -> str:
    """A setting as somebody would type it: "14", or "3, 10, 24"."""
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def days(period: str) -> str:
    """ "P90D" -> "90"; another period as it stands."""
    plain = period.removeprefix("P").removesuffix("D")
    return plain if plain.isdigit() and period == f"P{plain}D" else period


def forgetting(seen: Settings) -> str:
    """How many people tonight would forget, and how many stay longer."""
    due = d.capital(d.count(seen.due, "person would", "people would")) if seen.due else "Nobody would"
    kept = f" {d.capital(d.count(seen.kept, 'person stays', 'people stay'))} although their time is over."
    return f"{due} be forgotten tonight.{kept if seen.kept else ''}"

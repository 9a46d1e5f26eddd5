"""Pickups: who comes when on a day, and who has something ready without a time."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, NotFound
from notify.core.instants import instant, zone
from notify.flows import pickup
from notify.flows.view_pickups import Pickups, view, visit_of
from notify.web.counter import counter_day as says
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.counter.bell import lines as bell_lines
from notify.web.here import ctx, current_actor
from notify.web.live import live_page
from notify.web.pages import redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("pickups", __name__)


@pages.get("/pickups")
def show() -> Response:
    """One day; today when the address names none that can be read. Today renews itself unless `paused`."""
    return live_page(_page)


def _page() -> Response:
    seen, speak = view(ctx(), current_actor(), day=_asked_day()), say()
    before, after = seen.day - timedelta(days=1), seen.day + timedelta(days=1)
    is_today = seen.day == seen.today
    return render_page(
        "pickups.html", here="pickups", day=_name(seen.day, speak), is_today=is_today, sentence=_sentence(seen, speak),
        earlier_href=f"/pickups?day={before}", earlier_label=_name(before, speak),
        later_href=f"/pickups?day={after}", later_label=_name(after, speak), rows=says.rows(seen, speak),
        gone=says.gone(seen, speak), ready=[says.walk_in(one, speak) for one in seen.ready],
        closed="" if seen.is_open else _closed(seen), seen_at=speak.time(seen.now), zone=speak.zone,
        paused=not is_today or request.args.get("paused") == "1", rang=bell_lines(speak) if is_today else [],
    )  # fmt: skip


def _asked_day() -> date | None:
    try:
        found = date.fromisoformat(request.args.get("day", ""))
    except ValueError:
        return None
    return found if 2000 <= found.year <= 2100 else None


def _name(day: date, speak: Say) -> str:
    return speak.day(instant(datetime.combine(day, time(12)), zone(speak.zone)))


def _closed(seen: Pickups) -> str:
    booked = len(seen.pickups)
    if not booked:
        return "The counter is closed on this day."
    return f"The counter is closed on this day, and {d.count(booked, 'pickup is', 'pickups are')} booked. Call them."


def _sentence(seen: Pickups, speak: Say) -> str:
    number, came = len(seen.pickups), sum(1 for one in seen.over if one.state == "kept")
    already = f" {d.capital(d.count(came, 'has come', 'have come'))} already." if came else ""
    if not number:
        return f"Nobody else is due on this day.{already}" if came else "Nobody has chosen a time on this day."
    if seen.day != seen.today:
        return f"{d.capital(d.count(number, 'person has', 'people have'))} a time.{already}"
    late = sum(1 for one in seen.pickups if one.late is not None)
    soon = next((one for one in seen.pickups if one.start_at >= speak.now), None)
    behind = (
        f", {d.count(late, '', '').strip()} of them late" if late and number > 1 else ", and is late" if late else ""
    )
    due = f"; the next is due at {speak.time(soon.start_at)}" if soon else ""
    return f"{d.capital(d.count(number, 'person is', 'people are'))} still to come{behind}{due}.{already}"


@pages.post("/bookings/<booking_id>/cancel")
def cancel(booking_id: str) -> Response:
    """Gives the place up; the customer is told."""
    visit_id, day = visit_of(ctx(), current_actor(), booking_id)
    usual = back_to(f"/pickups?day={day}")
    try:
        is_open = view(ctx(), current_actor(), day=day).is_open
        pickup.cancel(ctx(), current_actor(), visit_id, why="other" if is_open else "closed")
    except (Conflict, NotFound) as error:
        return redirect_with(usual, d.plain(error))
    return redirect_with(usual, "The time is given up, and the customer is told.")

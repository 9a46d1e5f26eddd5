"""The day sheet: what needs hands now, in the order to be done, each line a sentence with what to do."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.contacts import show_phone
from notify.core.roles import may
from notify.flows.view_calls import Call
from notify.flows.view_day_sheet import DaySheet, view
from notify.flows.view_deliveries import Box, PartLine
from notify.flows.view_pickups import Pickup
from notify.flows.view_shelf import Shelved
from notify.flows.view_tried import Tried
from notify.web.counter import bench_lines as work
from notify.web.counter import desk_words as d
from notify.web.counter import part_says as says
from notify.web.counter.backup_lines import backup_lines
from notify.web.counter.bell import lines
from notify.web.counter.bench_order import order_lines
from notify.web.counter.calendar_asks import question_line
from notify.web.counter.clock_line import clock_lines
from notify.web.counter.danger_lines import danger_line
from notify.web.counter.hold_says import sheet_lines as hold_lines
from notify.web.counter.listeners import sheet_lines as listener_lines
from notify.web.counter.missed import call_them
from notify.web.counter.replies import broken_line, sheet_line
from notify.web.counter.requests import sheet_line as request_line
from notify.web.counter.sources import sheet_lines as source_lines
from notify.web.here import ctx, current_actor
from notify.web.live import live_page
from notify.web.pages import render_page, say
from notify.web.say import Say

pages = Blueprint("day_sheet", __name__)
REPORTS = (("/promises", "How promises were kept"), ("/forecast", "The bench and the time"))


@pages.get("/")
def show() -> Response:
    """The whole sheet, or 304 while it is as the asker has it; it renews itself unless `paused`."""
    return live_page(_page)


def _page() -> Response:
    sheet, speak, actor = view(ctx(), current_actor()), say(), current_actor()
    calls = sheet.calls if may(actor.role, "see_contact") else ()
    first = sheet.bench[0].ticket_id if sheet.bench else ""
    return render_page(
        "day_sheet.html", here="day", today=speak.day(sheet.now), summary=summary(sheet),
        seen_at=speak.time(sheet.now), zone=speak.zone, paused=request.args.get("paused") == "1", rang=lines(speak),
        answered=[work.answered_line(one, sheet, speak) for one in sheet.answered],
        deliveries=[*(box_line(box, sheet, speak) for box in sheet.deliveries.due()),
                    *(unordered_line(part) for part in sheet.deliveries.to_order())],
        bench=[*order_lines(sheet.order, speak),
               *(work.bench_line(one, sheet, speak, main=one.ticket_id == first) for one in sheet.bench)],
        bench_title="The bench, yours first" if sheet.mine else "The bench, in order",
        scale=work.scale_over(sheet.bench, sheet, speak),
        asked=[work.asked_line(one, sheet, speak) for one in sheet.asked],
        shelf=[shelf_line(one, speak) for one in sheet.shelf],
        pickups=[*hit_note(sheet.hit), *(pickup_line(one, speak) for one in sheet.pickups)],
        calls=[call_line(one, speak) for one in calls],
        replies=written(sheet, speak) if may(actor.role, "see_contact") else [],
        broken=[broken_line(one, speak) for one in sheet.broken], tried=[tried_line(one, speak) for one in sheet.tried],
        danger=[danger_line(one, speak) for one in sheet.danger],
        requests=[request_line(one, speak) for one in sheet.requests],
        sources=[*source_lines(speak), *listener_lines(speak)], backups=backup_lines(speak),
        kept_longer=[*clock_lines(), *hold_lines()],
        resting=resting(sheet.resting), for_parts=[work.waiting_line(one, sheet, speak) for one in sheet.waiting],
        parts_scale=work.scale_over(sheet.waiting, sheet, speak), old=work.old_note(sheet.old, speak),
        reports=REPORTS if may(actor.role, "report") else [],
    )  # fmt: skip


def written(sheet: DaySheet, speak: Say) -> list[d.Line]:
    """What calendars asked, which somebody has to decide, then what people wrote."""
    return [*(question_line(one, speak, back="/") for one in sheet.calendar), *reply_lines(sheet, speak)]


def hit_note(number: int) -> list[d.Line]:
    """That pickups no longer fit the hours, until somebody has decided about each."""
    if not number:
        return []
    verb = "no longer fits the hours" if number == 1 else "no longer fit the hours"
    said = f"{d.capital(d.count(number, 'pickup', 'pickups'))} {verb}. Decide about {'it' if number == 1 else 'each'}."
    look = [{"href": "/pickups/hit", "label": "Look", "main": True}]
    return [d.sheet_line("Changed hours", said, mark="slot", links=look)]


def reply_lines(sheet: DaySheet, speak: Say) -> list[d.Line]:
    """What was written; whoever writes a great deal does not hide the others."""
    lines, more = [sheet_line(one, speak) for one in sheet.replies], sheet.unread - len(sheet.replies)
    if more > 0:
        told = d.capital(d.count(more, "more reply waits", "more replies wait"))
        lines.append(d.sheet_line("The list of replies", f"{told} there.", mark="question", href="/replies"))
    return lines


def summary(sheet: DaySheet) -> str:
    """One sentence over the whole sheet."""
    boxes, calls = len(sheet.deliveries.due()), sum(1 for call in sheet.calls if call.again_at is None)
    broken = sum(1 for one in sheet.danger if one.threat is None)
    in_danger = len(sheet.danger) - broken
    parts = [
        d.count(len(sheet.answered), "answer to act on", "answers to act on") if sheet.answered else "",
        d.count(sheet.unread, "reply to read", "replies to read") if sheet.unread else "",
        d.count(len(sheet.calendar), "calendar to answer", "calendars to answer") if sheet.calendar else "",
        d.count(broken, "promise not kept", "promises not kept") if broken else "",
        d.count(in_danger, "promise in danger", "promises in danger") if in_danger else "",
        d.count(boxes, "box to unpack", "boxes to unpack") if boxes else "",
        d.count(len(sheet.bench), "device for the bench", "devices for the bench") if sheet.bench else "",
        d.count(len(sheet.pickups), "pickup today", "pickups today") if sheet.pickups else "",
        d.count(sheet.hit, "pickup to move", "pickups to move") if sheet.hit else "",
        d.count(calls, "person to call", "people to call") if calls else "",
    ]
    said = d.joined(parts)
    return f"{d.capital(said)}." if said else "Nothing needs hands right now."


def tried_line(one: Tried, speak: Say) -> d.Line:
    """Wrong codes were shown for a visit: whoever stands there next is looked at twice."""
    codes = d.capital(d.count(one.count, "wrong code was", "wrong codes were"))
    said = f"{codes} shown for it within a day, the last {d.at(speak, one.last_at)}."
    return d.ticket_line(one.ticket, f"{said} The desk asks for a check in words.", mark="caution")


def resting(number: int) -> str:
    """What needs nothing now."""
    if not number:
        return ""
    verb = "waits for its part and needs" if number == 1 else "wait for their parts and need"
    return f"{d.capital(d.count(number, 'device', 'devices'))} {verb} nothing now."


def box_line(box: Box, sheet: DaySheet, speak: Say) -> d.Line:
    """One expected or late box, what it frees, and a button for when it is here."""
    names = d.joined(f"{part.name or 'a part'} for {part.ticket.number}" for part in box.parts)
    frees = d.joined(ticket.number for ticket in box.frees())
    hangs = f" {says.hangs(box, speak)}" if box.late else ""
    sentence = f"{expected(box, sheet.today, speak)} {d.capital(names)}.{f' It frees {frees}.' if frees else ''}{hangs}"
    here = d.button("/deliveries/arrived", "It is here", main=True, back="/")
    here["fields"] += [{"name": "part", "value": part.part_id} for part in box.parts]
    here["fields"] += [{"name": f"seen-{part.part_id}", "value": str(part.changes)} for part in box.parts]
    head = f"{d.capital(d.count(len(box.parts), 'part', 'parts'))} from {box.supplier or 'a supplier'}"
    return d.sheet_line(head, sentence, mark="part", href="/deliveries", buttons=[here])


def expected(box: Box, today: object, speak: Say) -> str:
    """ "Expected today, by 10:00." or "Late: it was due yesterday, 10:00. Call them."."""
    if box.due_at is None:
        return "No day was named."
    if box.late:
        return f"Late: it was due {d.at(speak, box.due_at)}. Ask {box.supplier or 'the supplier'} where it is."
    return f"Expected {'today' if box.day == today else 'on ' + speak.day(box.due_at)}, by {speak.time(box.due_at)}."


def unordered_line(part: PartLine) -> d.Line:
    """A part that somebody still has to order."""
    return d.ticket_line(part.ticket, f"Nobody has ordered its part yet: {part.name or 'no name was noted'}. Order it.",
                         mark="part", place="", flag="")  # fmt: skip


def shelf_line(one: Shelved, speak: Say) -> d.Line:
    """What it is, how its owner was told, and when they come."""
    done = "Not repaired." if one.ticket.outcome == "unrepaired" else "Repaired."
    come = f"Comes {d.at(speak, one.booked_at)}." if one.booked_at else "Nobody has chosen a time yet."
    if one.missed_at:
        come = f"Did not come {d.at(speak, one.missed_at)}; no new time is chosen.{call_them(one)}"
    days = f" On the shelf for {one.days} days." if one.days > 1 else ""
    return d.ticket_line(one.ticket, f"{done} {told(one, speak)} {come}{days}")


def told(one: Shelved, speak: Say) -> str:
    """How and when the owner learned of it."""
    if one.told in ("", "skipped", "dropped", "given_up") or one.told_at is None:
        return "They have not been told."
    if one.told == "to_call":
        return "They have to be called."
    verb = {"waiting": "They are told", "called": "Told on the phone"}.get(one.told, "Told")
    return f"{verb} {d.at(speak, one.told_at)}."


def pickup_line(one: Pickup, speak: Say) -> d.Line:
    """Who comes when for what, what is to pay, and from where it is fetched."""
    names = d.joined(d.device(line) for line in one.ready) or "nothing on the shelf yet"
    waiting = d.joined(d.device(line) for line in one.waiting)
    also = f" Not ready: {waiting}." if waiting else ""
    others = f" {d.joined(one.collectors)} may come instead." if one.collectors else ""
    late = " They were due and have not come." if one.end_at < speak.now else ""
    first = one.ready[0] if one.ready else (one.waiting[0] if one.waiting else None)
    places = ", ".join(dict.fromkeys(line.shelf for line in one.ready if line.shelf))
    flags = {flag for line in one.ready for flag in line.safety}
    pay = _to_pay(one, speak)
    return d.sheet_line(
        d.person(one.person), f"{d.capital(names)}. {pay}{also}{others}{late}".rstrip(), mark="slot",
        clock=speak.time(one.start_at), number=first.number if first else "", href=f"/visits/{one.visit_id}",
        place=f"Place: {places}" if places else "", flag=d.flag(sorted(flags)),
    )  # fmt: skip


def _to_pay(one: Pickup, speak: Say) -> str:
    if one.ready and all(line.outcome == "unrepaired" for line in one.ready):
        return "Nothing to pay: not repaired."
    return d.left(one.left, speak) if one.ready else ""


def call_line(one: Call, speak: Say) -> d.Line:
    """Whom to call about what; the sentence to say is on the list of calls."""
    again = f" Nobody answered {d.at(speak, one.tried_at)}; again after {speak.time(one.again_at)}." if (
        one.tried_at and one.again_at) else ""  # fmt: skip
    about = f"{d.staff_word('notice', one.notice)}: {d.device(one.ticket)}."
    return d.sheet_line(
        d.person(one.person), f"{about} {d.word('why_call', one.why)}{again}", mark="call", number=one.ticket.number,
        href=f"/calls#call-{one.message_id}", phone=dial(one.phone)[0], phone_href=dial(one.phone)[1],
    )  # fmt: skip


def dial(phone: str) -> tuple[str, str]:
    """A number as people read it, and the link that dials it."""
    return (show_phone(phone), f"tel:{phone}") if phone else ("", "")

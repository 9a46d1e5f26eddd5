"""The day sheet: what needs hands now, in the order to be done, each line a sentence with what to do."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.contacts import show_phone
from notify.core.roles import may
from notify.core.tickets import Phase
from notify.flows.view_bell import stamp
from notify.flows.view_calls import Call
from notify.flows.view_day_sheet import Asked, DaySheet, view
from notify.flows.view_deliveries import Box, PartLine
from notify.flows.view_lines import TicketLine
from notify.flows.view_pickups import Pickup
from notify.flows.view_shelf import Shelved
from notify.flows.view_tried import Tried
from notify.web.counter import desk_words as d
from notify.web.counter import forecast_says as ahead
from notify.web.counter.bell import lines
from notify.web.counter.calendar_asks import question_line
from notify.web.counter.missed import call_them
from notify.web.counter.replies import broken_line, sheet_line
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page, say
from notify.web.say import Say

pages = Blueprint("day_sheet", __name__)
# The step that a phase usually leads to: the one button of a line.
NEXT = {
    Phase.TAKEN_IN: ("inspection_began", Phase.INSPECTING), Phase.INSPECTING: ("work_agreed", Phase.IN_LINE),
    Phase.IN_LINE: ("bench_began", Phase.ON_BENCH), Phase.ON_BENCH: ("repair_done", Phase.PROVING),
    Phase.PROVING: ("shelved", Phase.ON_SHELF),
}  # fmt: skip


@pages.get("/")
def show() -> Response:
    """The whole sheet; it renews itself unless `paused`."""
    rung = stamp(ctx(), current_actor())  # before its lines: what rings in between is asked for again
    sheet, speak, actor = view(ctx(), current_actor()), say(), current_actor()
    calls = sheet.calls if may(actor.role, "see_contact") else ()
    first = sheet.bench[0].ticket_id if sheet.bench else ""
    return render_page(
        "day_sheet.html", here="day", today=speak.day(sheet.now), summary=summary(sheet),
        seen_at=speak.time(sheet.now), paused=request.args.get("paused") == "1", rang=lines(speak),
        rang_stamp=rung,
        answered=[answered_line(one, sheet, speak) for one in sheet.answered],
        deliveries=[*(box_line(box, sheet, speak) for box in sheet.deliveries.due()),
                    *(unordered_line(part) for part in sheet.deliveries.to_order())],
        bench=[bench_line(one, sheet, speak, main=one.ticket_id == first) for one in sheet.bench],
        scale=scale_over(sheet.bench, sheet, speak),
        asked=[asked_line(one, sheet, speak) for one in sheet.asked],
        shelf=[shelf_line(one, speak) for one in sheet.shelf],
        pickups=[*hit_note(sheet.hit), *(pickup_line(one, speak) for one in sheet.pickups)],
        calls=[call_line(one, speak) for one in calls],
        replies=written(sheet, speak) if may(actor.role, "see_contact") else [],
        broken=[broken_line(one, speak) for one in sheet.broken], tried=[tried_line(one, speak) for one in sheet.tried],
        resting=resting(sheet.resting), for_parts=[waiting_line(one, sheet, speak) for one in sheet.waiting],
        parts_scale=scale_over(sheet.waiting, sheet, speak), old=old_note(sheet.old, speak),
    )  # fmt: skip


def scale_over(lines: tuple[TicketLine, ...], sheet: DaySheet, speak: Say) -> ahead.Picture | None:
    """What the drawings beside these lines run over; None when none of them has one."""
    return ahead.scale_of([found for one in lines if (found := sheet.foreseen.get(one.ticket_id))], speak)


def old_note(old: datetime | None, speak: Say) -> str:
    """That the times on the sheet are too old to be relied on; "" while they are not."""
    return d.words()("range.old", at=d.at(speak, old)) if old else ""


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
    parts = [
        d.count(len(sheet.answered), "answer to act on", "answers to act on") if sheet.answered else "",
        d.count(sheet.unread, "reply to read", "replies to read") if sheet.unread else "",
        d.count(len(sheet.calendar), "calendar to answer", "calendars to answer") if sheet.calendar else "",
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


def answered_line(one: Asked, sheet: DaySheet, speak: Say) -> d.Line:
    """What the customer said, when, and what to do about it."""
    if one.state == "answered":
        label, act = d.staff_word("answer", one.answer), d.words()(f"act.{one.kind}_{one.answer}")
        by = f", said by {one.said_by}" if one.said_by else ""
        said = f"“{label}”{by}, {d.at(speak, one.answered_at or one.asked_at)}. {act}"
    else:
        said = f"{d.capital(d.words()(f'question_state.{one.state}'))}. {d.words()(f'act.{one.state}')}"
    price = f" ({speak.money(one.price)})" if one.price is not None else ""
    about = f"Asked about {d.words()(f'question.{one.kind}')}{price}: {said}"
    when, drawn = ahead.on_line(sheet.foreseen.get(one.ticket.ticket_id), one.ticket, speak)
    return d.ticket_line(one.ticket, f"{about} {when}".rstrip(), mark="question", buttons=_go_ahead(one), range=drawn)


def _go_ahead(one: Asked) -> list[d.Line]:
    """After a yes to a device that is not yet in line: one press puts it there."""
    goes_on = (one.kind, one.answer) in (("price", "accept"), ("substitute_part", "take_it"))
    if not goes_on or one.ticket.phase not in (Phase.TAKEN_IN, Phase.INSPECTING):
        return []
    label = d.words()("move.work_agreed")
    return [d.button(f"/tickets/{one.ticket.ticket_id}/move", label, main=True, to="in_line", back="/")]


def box_line(box: Box, sheet: DaySheet, speak: Say) -> d.Line:
    """One expected or late box, what it frees, and a button for when it is here."""
    names = d.joined(f"{part.name or 'a part'} for {part.ticket.number}" for part in box.parts)
    frees = d.joined(ticket.number for ticket in box.frees())
    sentence = f"{expected(box, sheet.today, speak)} {d.capital(names)}.{f' It frees {frees}.' if frees else ''}"
    here = d.button("/deliveries/arrived", "It is here", main=True, back="/")
    here["fields"] += [{"name": "part", "value": part.part_id} for part in box.parts]
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


def bench_line(one: TicketLine, sheet: DaySheet, speak: Say, *, main: bool) -> d.Line:
    """Where it stands, when it will be ready and what was promised, with the usual next step."""
    event, to = NEXT[one.phase]
    in_hand = one.phase in (Phase.ON_BENCH, Phase.PROVING)
    doing = d.words()(f"in_hand.{one.phase}", since=speak.when(one.since), by=_with(one)) if in_hand else ""
    waits = d.words()(f"waits.{one.waits_on}") if in_hand and one.waits_on.value in ("customer", "part") else ""
    fault = "" if in_hand or not one.fault else f"{d.capital(one.fault.splitlines()[0].rstrip('.'))}."
    when, drawn = ahead.on_line(sheet.foreseen.get(one.ticket_id), one, speak)
    since = "" if in_hand or when else f"Here since {speak.when(one.created_at)}; no time is promised."
    sentence = " ".join(part for part in (doing, waits, fault, when, since) if part)
    press = d.button(f"/tickets/{one.ticket_id}/move", d.words()(f"move.{event}"), main=main, to=to.value, back="/")
    return d.ticket_line(one, sentence, buttons=[press], range=drawn)


def waiting_line(one: TicketLine, sheet: DaySheet, speak: Say) -> d.Line:
    """What waits for a part, and when it will be ready."""
    when, drawn = ahead.on_line(sheet.foreseen.get(one.ticket_id), one, speak)
    return d.ticket_line(one, when or f"Here since {speak.when(one.created_at)}; no time is promised.", mark="part",
                         range=drawn)  # fmt: skip


def _with(one: TicketLine) -> str:
    return f", {one.technician}" if one.technician else ""


def asked_line(one: Asked, sheet: DaySheet, speak: Say) -> d.Line:
    """A question that is still open, and until when; what was promised to them meanwhile."""
    sentence = (
        f"Asked about {d.words()(f'question.{one.kind}')} {d.at(speak, one.asked_at)}. "
        f"Nothing to do unless they call; it stays open until {speak.when(one.expires_at)}."
    )
    promised = d.promise(one.ticket.promise_at, speak)
    return d.ticket_line(one.ticket, f"{sentence} {promised}".rstrip(), mark="question")


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

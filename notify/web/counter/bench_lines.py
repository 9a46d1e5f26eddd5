"""Lines of the day sheet about work: answers, the bench, open questions, what waits for a part; with forecasts."""

from __future__ import annotations

from datetime import datetime

from notify.core.tickets import Phase
from notify.flows.view_day_sheet import Asked, DaySheet
from notify.flows.view_lines import TicketLine
from notify.web.counter import desk_words as d
from notify.web.counter import forecast_says as ahead
from notify.web.counter.bench_order import next_button
from notify.web.say import Say

# The step that a phase usually leads to: the one button of a line.
NEXT = {
    Phase.TAKEN_IN: ("inspection_began", Phase.INSPECTING), Phase.INSPECTING: ("work_agreed", Phase.IN_LINE),
    Phase.IN_LINE: ("bench_began", Phase.ON_BENCH), Phase.ON_BENCH: ("repair_done", Phase.PROVING),
    Phase.PROVING: ("shelved", Phase.ON_SHELF),
}  # fmt: skip


def scale_over(lines: tuple[TicketLine, ...], sheet: DaySheet, speak: Say) -> ahead.Picture | None:
    """What the drawings beside these lines run over; None when none of them has one."""
    return ahead.scale_of([found for one in lines if (found := sheet.foreseen.get(one.ticket_id))], speak)


def old_note(old: datetime | None, speak: Say) -> str:
    """That the times on the sheet are too old to be relied on; "" while they are not."""
    return d.words()("range.old", at=d.at(speak, old)) if old else ""


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


def bench_line(one: TicketLine, sheet: DaySheet, speak: Say, *, main: bool) -> d.Line:
    """Where it stands, when it will be ready and what was promised, with the usual next step."""
    event, to = NEXT[one.phase]
    in_hand = one.phase in (Phase.ON_BENCH, Phase.PROVING)
    yours = d.words()("in_hand.yours") if one.ticket_id in sheet.mine else ""
    by = "" if yours else _with(one)
    doing = d.words()(f"in_hand.{one.phase}", since=speak.when(one.since), by=by) if in_hand else ""
    waits = d.words()(f"waits.{one.waits_on}") if in_hand and one.waits_on.value in ("customer", "part") else ""
    fault = "" if in_hand or not one.fault else f"{d.capital(one.fault.splitlines()[0].rstrip('.'))}."
    when, drawn = ahead.on_line(sheet.foreseen.get(one.ticket_id), one, speak)
    since = "" if in_hand or when else f"Here since {speak.when(one.created_at)}; no time is promised."
    sentence = " ".join(part for part in (yours, doing, waits, fault, when, since) if part)
    press = d.button(f"/tickets/{one.ticket_id}/move", d.words()(f"move.{event}"), main=main, to=to.value, back="/")
    ahead_of_all = [next_button(one)] if sheet.is_later(one) else []
    return d.ticket_line(one, sentence, buttons=[press, *ahead_of_all], range=drawn)


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

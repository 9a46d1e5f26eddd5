"""The sentences of a ticket's page: money, people, questions, parts, moves and the story."""

from __future__ import annotations

from datetime import datetime

from notify.core.claim_number import show_number
from notify.core.retention import EXCEPTIONS
from notify.flows.view_deliveries import PartLine
from notify.flows.view_moves import MoveOffer, Refused
from notify.flows.view_ticket import ContactLine, PersonLine, QuestionLine, StoryLine, TicketView
from notify.web.counter import desk_words as d
from notify.web.counter.messages import fate
from notify.web.counter.replies import why_broken
from notify.web.errors import page_label
from notify.web.say import Say

# The step that a phase usually leads to: the one strong button.
USUAL = frozenset({
    ("taken_in", "inspection_began"), ("inspecting", "work_agreed"), ("in_line", "bench_began"),
    ("on_bench", "repair_done"), ("proving", "shelved"),
})  # fmt: skip


def money(seen: TicketView, say: Say) -> list[str]:
    """What was agreed, what was paid, what is left."""
    said = [f"agreed {say.money(seen.price_agreed)}"] if seen.price_agreed is not None else []
    said += [f"up to {say.money(seen.price_limit)} without asking"] if seen.price_limit is not None else []
    said += [f"deposit {say.money(seen.deposit)}"] if seen.deposit is not None else []
    said.append("paid" if seen.paid else f"{say.money(seen.line.left)} still to pay" if seen.line.left else "")
    whole = ", ".join(part for part in said if part)
    return [f"{d.capital(whole)}."] if whole else ["No price is agreed yet."]


def facts(seen: TicketView, say: Say) -> list[dict[str, str]]:
    """Name and value of what is known, people first."""
    pairs = [pair for one in seen.people for pair in _person(one)]
    pairs += [("Condition", seen.condition), ("Left with it", seen.accessories)]
    pairs.append(("Taken in", say.when(seen.line.created_at)))
    pairs.append(("Waits here", "Yes: nothing is written in between" if seen.waits_here else ""))
    pairs.append(("Pickup", d.capital(d.at(say, seen.booked_at)) if seen.booked_at else ""))
    pairs.append(("Forgotten", _forgotten(seen, say)))
    return [{"name": name, "value": value} for name, value in pairs if value]


def _forgotten(seen: TicketView, say: Say) -> str:
    """When name and contacts go, or what keeps them; "" while the device is here."""
    kept = seen.keeping
    if kept.goes_at is None or seen.line.forgotten:
        return ""
    if kept.reasons:
        return f"Not by itself: {d.joined(EXCEPTIONS[code] for code in kept.reasons)}"
    return f"On {say.day(kept.goes_at)} {say.local(kept.goes_at).year}"


def _person(one: PersonLine) -> list[tuple[str, str]]:
    head = d.joined(d.words()(f"role.{role}").lower() for role in one.roles)
    if one.forgotten:
        return [(d.capital(head), "Forgotten: name and contacts were erased")]
    rows = [(d.capital(head), f"{d.person(one.name)}, reads {page_label(one.language)}")]
    rows += [("A child's contact", "only what belongs to the repair may be sent")] if one.child else []
    rows += [("Data set aside", "only what gives the device back is sent, and what they ask for")] * one.set_aside
    return rows + [("Reached by", _contact(contact)) for contact in one.contacts]


def _contact(one: ContactLine) -> str:
    way = {"sms": "text message to", "email": "e-mail to"}[one.channel]
    uses = d.joined(d.words()(f"use.{use}") for use in one.uses) or "not to be used for messages"
    resting = "; not used while that device is here" if one.in_repaired_device else ""
    broken = f"; it does not work ({why_broken(one.undeliverable_why)}): correct it" if one.undeliverable else ""
    stopped = f"; everything was stopped there on {one.stopped_on:%d.%m.%Y}" if one.stopped_on else ""
    return f"{way} {one.masked}: {uses}{stopped}{resting}{broken}"


def question(one: QuestionLine, say: Say) -> str:
    """The wording as it was asked, with its price."""
    words = one.wording or f"About {d.words()(f'question.{one.kind}')}; the words were erased."
    return f"{words} ({say.money(one.price)})" if one.price is not None else words


def closed_question(one: QuestionLine, say: Say) -> str:
    """When it was asked, what was said, by whom."""
    asked = f"{d.capital(say.when(one.asked_at))}: {question(one, say)}"
    if one.state != "answered":
        return f"{asked} – {d.words()(f'question_state.{one.state}')}."
    said = d.staff_word("answer", one.answer)
    when = f", {d.at(say, one.answered_at)}" if one.answered_at else ""
    if one.answered_how == "claim_page":
        return f"{asked} – “{said}”, on the claim page{when}."
    entered = f", entered by {one.by}" if one.by else ""
    return f"{asked} – “{said}”, said by {one.said_by or 'the customer'}{entered}{when}."


def part(one: PartLine, say: Say) -> str:
    """What it is, from whom, and where it is."""
    source = f" from {one.supplier}" if one.supplier else ""
    state = d.words()(f"part_state.{one.state}")
    name = d.capital(one.name or "a part")
    if one.state == "ordered" and one.due_at:
        late = "late: it was due" if one.late else "due"
        return f"{name}, ordered{source}, {late} {d.at(say, one.due_at)}."
    came = f" since {say.when(one.arrived_at)}" if one.state == "arrived" and one.arrived_at else ""
    return f"{name}{source}: {state}{came}."


def move(one: MoveOffer, seen: TicketView) -> d.Line:
    """One allowed move as the template shows it."""
    code = one.event
    if one.event == "bench_began" and one.anyway:
        code = "bench_began_anyway"
    elif one.event == "shelved" and seen.line.phase == "on_bench":
        code = "shelved_untried"
    main = (seen.line.phase.value, one.event) in USUAL and not one.anyway and seen.line.waits_on != "customer"
    return {
        "to": one.to, "outcome": one.outcome, "label": d.words()(f"move.{code}"), "main": main,
        "anyway": one.anyway, "asks": bool(one.reasons) or one.anyway, "event": one.event,
        "reasons": [{"code": code, "label": d.staff_word("staff_reason", code)} for code in one.reasons],
    }  # fmt: skip


def refusals(refused: tuple[Refused, ...]) -> list[str]:
    """Why moves of the table are not offered now."""
    return [d.words()(f"refused.{one.why}_{one.event}" if one.why == "role" else f"refused.{one.why}")
            for one in refused if one.why != "role" or f"refused.role_{one.event}" in d.words()]  # fmt: skip


def waits(seen: TicketView, say: Say) -> str:
    """Whom it waits on, and until when."""
    code = seen.line.waits_on.value
    if code not in ("customer", "part"):
        return ""
    said = d.words()(f"waits.{code}")
    due = [p.due_at for p in seen.parts if p.state == "ordered" and p.due_at]
    if code == "part" and due:
        return f"{said[:-1]}, due {d.at(say, max(due))}."
    return said


def messages(seen: TicketView, say: Say) -> list[dict[str, str]]:
    """Every message of the ticket with why it was planned, skipped, dropped or waits; newest first."""
    return [
        {"when": say.when(one.when), "href": f"/messages/{one.id}",
         "sentence": f"{d.staff_word('notice', one.notice)}. {fate(one, say)}"}
        for one in seen.messages
    ]  # fmt: skip


def story(seen: TicketView, say: Say) -> list[dict[str, str]]:
    """What happened, newest first."""
    return [{"when": say.when(one.at), "sentence": told(one, say)} for one in reversed(seen.story)]


_NOT_STAFF = {"customer": "the customer", "source": "the other system", "script": "a script"}


def told(one: StoryLine, say: Say) -> str:
    """One event with what its codes tell and who did it."""
    said = d.words()(f"event.{one.kind}")
    extra = _extra(one, say)
    who = one.by or _NOT_STAFF.get(one.actor_kind, "")
    return f"{said}{f': {extra}' if extra else ''}{f', {who}' if who else ''}."


def _extra(one: StoryLine, say: Say) -> str:
    codes = {name: str(value) for name, value in one.codes.items()}
    if one.kind == "calendar_settled":  # its `answer` names a row, not a word
        return d.word("choice_made", codes.get("how", ""))
    if one.kind == "calendar_answered":
        return d.word("calendar_story", codes.get("said", ""))
    if "answer" in codes:
        return f"“{d.staff_word('answer', codes['answer'])}”"
    if one.kind.startswith(("question_", "answer_")):
        return "about " + d.words()(f"question.{codes['kind']}") if "kind" in codes else ""
    if one.kind == "call_logged":
        return d.words()(f"call_result.{codes['result']}").lower()
    if one.kind == "message_given_up":
        return d.staff_word("notice", codes["notice"]).lower()
    if one.kind in ("promise_made", "promise_changed") and "new" in codes:
        return say.by(datetime.fromisoformat(codes["new"]))
    if one.kind == "handover_done" and "how" in codes:
        return d.word("handed", codes["how"]) + (f", taken by {one.taker}" if one.taker else "")
    if one.kind in ("handover_refused", "pass_revoked", "pass_expired") and "why" in codes:
        return d.word("refused_code", codes["why"])
    if one.kind.startswith("data_hold"):
        return EXCEPTIONS[codes["reason"]]
    if "reason" in codes:
        return d.staff_word("staff_reason", codes["reason"]).lower()
    return "started although it still waited" if "anyway" in codes else ""


def title(seen: TicketView) -> str:
    """The claim number as people read it."""
    return show_number(seen.line.number.replace("-", ""))

"""Gathers what a message says: the flat context of the templates, key by key, which makes it a little long."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from notify.core.claim_number import show_number
from notify.core.contact_code import show_code
from notify.core.contacts import show_phone
from notify.core.hours import Counter, spans_on
from notify.core.money import show_amount
from notify.core.parts import PartState
from notify.core.questions import ANSWERS
from notify.core.shop import Shop
from notify.core.threats import HARDLY
from notify.core.tickets import Phase
from notify.dispatch.look_again import ABOUT_THE_GONE
from notify.dispatch.said_now import left_of, promise_helps, waits_on
from notify.dispatch.said_request import say_request
from notify.render.dates import say_day, say_time
from notify.store import bookings, contact_codes, parts, people, questions, replies, shops, staff, tickets
from notify.store.bookings import Booking
from notify.store.database import Unit
from notify.store.messages import Message
from notify.store.questions import Question
from notify.store.tickets import Ticket

LONGEST_REPLY = 1000  # characters of a reply that a notice to the shop quotes
Words = Callable[..., str]


@dataclass(frozen=True, slots=True)
class Saying:
    """Where links lead and which language a message speaks."""

    public_url: str
    language: str
    words: Words


def gather_said(
    unit: Unit, message: Message, *, shop: Shop, saying: Saying, now: datetime, sentence: str = ""
) -> dict[str, Any]:
    """The whole context of the message templates; every key is there, empty where it does not apply."""
    about = _devices_about(unit, message)
    first = about[0]
    person = people.get_person(unit, message.person_id) if message.person_id else None
    counter = shops.get_counter(unit, shop)
    context: dict[str, Any] = {
        "language": saying.language,
        "shop": unit.once(("said_shop", saying.language), lambda: _shop(shop, counter, saying, now)),
        "person": {"name": person.name if person else ""},
        "claim_link": _link(saying, first.token),
        "privacy_link": _privacy(saying),
        "stop_link": "",  # the composer knows the channel, and so what the link stops
        "entry_stays": False,  # and whether the message takes the entry in their calendar along
        "devices": [_device(ticket, saying.words) for ticket in about],
        "number": show_number(first.number),
        "device": first.device,
        "fault": first.fault,
        "price": _price(about, shop, saying.language),
        "days_waiting": str(max(0, (now - first.phase_since).days)),
        "waits_on": waits_on(unit, message, first, saying.words),
        "sentence": sentence,
        **_taker(unit, message),
        **_outcome(about, saying.words),
        **_safety(about, saying.words),
        **_promises(first, message.refs, shop, saying),
        **_references(unit, message, shop, saying),
        "hanging": _hanging(unit, message, shop, saying),
    }
    if not promise_helps(unit, message, first, now=now):
        context["promise"] = ""
    context["phone"] = _phone_to_call(unit, message)
    return context


def _devices_about(unit: Unit, message: Message) -> tuple[Ticket, ...]:
    """The tickets a message is about, never none: its ticket, or those of the visit that it fits."""
    kind, _, thing = message.about.partition(":")
    if kind == "ticket":
        return (tickets.get_ticket(unit, thing),)
    whole = tickets.tickets_of_visit(unit, message.visit_id)
    if message.notice == "link_replaced":
        return tuple(t for t in whole if t.id == message.refs.get("ticket")) or whole
    if message.notice in ABOUT_THE_GONE:
        given = str(message.refs.get("tickets", "")).split(",")
        return tuple(t for t in whole if t.id in given and t.phase is Phase.HANDED_BACK) or whole
    if message.notice in ("ready", "collection_reminder") or message.notice.startswith("pickup_"):
        return tuple(t for t in whole if t.phase is Phase.ON_SHELF) or whole
    return whole


def _shop(shop: Shop, counter: Counter, saying: Saying, now: datetime) -> dict[str, str]:
    return {
        "name": shop.name, "phone": show_phone(shop.phone), "email": shop.email, "address": shop.address,
        "hours": _hours_today(counter, shop, saying, now), "url": saying.public_url,
    }  # fmt: skip


def _hours_today(counter: Counter, shop: Shop, saying: Saying, now: datetime) -> str:
    """Today's opening hours after `now`, or the next open day's, in words."""
    day = now.astimezone(ZoneInfo(shop.zone)).date()
    for ahead in range(15):
        spans = [s for s in spans_on(counter, day + timedelta(days=ahead)) if s.end_utc > now]
        if spans:
            times = ", ".join(f"{_time(s.start_utc, shop, saying)}-{_time(s.end_utc, shop, saying)}" for s in spans)
            return f"{say_day(spans[0].start_utc, zone=shop.zone, language=saying.language)}, {times}"
    return ""


def _time(moment: datetime, shop: Shop, saying: Saying) -> str:
    return say_time(moment, zone=shop.zone, language=saying.language)


def _day(moment: datetime, shop: Shop, saying: Saying) -> str:
    return say_day(moment, zone=shop.zone, language=saying.language)


def _link(saying: Saying, token: str) -> str:
    return f"{saying.public_url.rstrip('/')}/c/{token}" if saying.public_url and token else ""


def _privacy(saying: Saying) -> str:
    return f"{saying.public_url.rstrip('/')}/privacy?language={saying.language}" if saying.public_url else ""


def _device(ticket: Ticket, words: Words) -> dict[str, str]:
    return {
        "number": show_number(ticket.number),
        "device": ticket.device,
        "device_class_words": words(f"device_class.{ticket.device_class}"),
        "phase_sentence": words(_phase_key(ticket)),
        "shelf": ticket.shelf,
    }


def _phase_key(ticket: Ticket) -> str:
    unrepaired = ticket.phase is Phase.ON_SHELF and ticket.outcome == "unrepaired"
    return "said.on_shelf_unrepaired" if unrepaired else f"phase.{ticket.phase}"


def _price(about: Iterable[Ticket], shop: Shop, language: str) -> str:
    """What is left to pay for all of them; empty when one price is not known, or nothing is left to pay."""
    left = [left_of(ticket) for ticket in about]
    known = [amount for amount in left if amount is not None]
    if len(known) != len(left) or sum(known) <= 0:
        return ""
    return show_amount(sum(known), currency=shop.currency, language=language)


def _outcome(about: tuple[Ticket, ...], words: Words) -> dict[str, str]:
    """`unrepaired` only when every device is; the phase sentence of each device tells a mixed visit apart."""
    shelved = [t for t in about if t.outcome]
    all_unrepaired = bool(shelved) and all(t.outcome == "unrepaired" for t in shelved)
    reason = next((t.reason for t in shelved if t.reason), "") if all_unrepaired else ""
    outcome = "unrepaired" if all_unrepaired else ("repaired" if shelved else "")
    return {"outcome": outcome, "reason": words(f"reason.{reason}") if reason else ""}


def _safety(about: tuple[Ticket, ...], words: Words) -> dict[str, list[str]]:
    flags = sorted({flag for ticket in about for flag in ticket.safety})
    return {
        "safety": [words(f"safety.{flag}") for flag in flags],
        "caution_lines": [words(f"caution.{flag}") for flag in flags],
    }


def _promises(first: Ticket, refs: Mapping[str, Any], shop: Shop, saying: Saying) -> dict[str, str]:
    def by(moment: datetime | None) -> str:
        if moment is None:
            return ""
        return saying.words("said.promise_by", day=_day(moment, shop, saying), time=_time(moment, shop, saying))

    old = str(refs.get("old", ""))
    why, expected, threat = str(refs.get("why", "")), str(refs.get("expected", "")), str(refs.get("threat", ""))
    return {
        "promise": by(first.promise_at),
        "old_promise": by(datetime.fromisoformat(old)) if old else "",
        "expected": by(datetime.fromisoformat(expected)) if expected else "",
        "hardly": "yes" if threat and int(refs.get("chance", 100)) < 100 * HARDLY else "",
        "why": saying.words(f"threat.{threat}") if threat else saying.words(f"why.{why}") if why else "",
    }


def _references(unit: Unit, message: Message, shop: Shop, saying: Saying) -> dict[str, Any]:
    """Question, answer, part, slot and bench of a message, each empty when it is about none."""
    refs = message.refs
    question, answer = _question(unit, str(refs.get("question", "")), shop, saying)
    return {
        "question": question,
        "answer": answer,
        "part": _part(unit, message, str(refs.get("part", "")), shop, saying),
        "slot": _slot(_booking(unit, message), shop, saying),
        "bench": _staff_name(unit, str(refs.get("bench", ""))),
        "reply": _reply(unit, str(refs.get("reply", "")), str(refs.get("asks", "")), saying),
        "request": say_request(unit, message, saying.words, lambda day: _day(day, shop, saying)),
        "code": show_code(contact_codes.text_of(unit, str(refs["code"]))) if "code" in refs else "",
    }


def _taker(unit: Unit, message: Message) -> dict[str, str]:
    """Who collected with a pass, and that it was one; both empty for a handover without."""
    if not message.refs.get("pass") or message.notice != "handed_back":
        return {"collector": "", "by_pass": ""}
    person = people.people_by_id(unit, [str(message.refs.get("collector", ""))]).values()
    return {"collector": next((one.name for one in person), ""), "by_pass": "yes"}


def _reply(unit: Unit, reply_id: str, asks: str, saying: Saying) -> dict[str, str]:
    """What somebody wrote, or what their calendar `asks`, for the shop: a long text is cut, the whole stands on the
    ticket's page."""
    if not reply_id:
        return {"text": "", "what": ""}
    reply = replies.get_reply(unit, reply_id)
    text = reply.text if len(reply.text) <= LONGEST_REPLY else f"{reply.text[:LONGEST_REPLY]}…"
    return {"text": text, "what": saying.words(f"calendar_asks.{asks}" if asks else f"reply_kind.{reply.kind}")}


def _question(unit: Unit, question_id: str, shop: Shop, saying: Saying) -> tuple[Any, dict[str, str]]:
    if not question_id:
        return None, {"code": "", "label": "", "by": ""}
    q = questions.get_question(unit, question_id)
    price = show_amount(q.price, currency=shop.currency, language=saying.language) if q.price is not None else ""
    until = saying.words("said.until", day=_day(q.expires_at, shop, saying), time=_time(q.expires_at, shop, saying))
    options = [{"code": code, "label": saying.words(f"answer.{code}")} for code in ANSWERS[q.kind]]
    code = q.answer if q.state == "answered" else q.state
    label = saying.words(f"answer.{q.answer}" if q.state == "answered" else _unanswered(q.state))
    by = _answered_by(unit, q, saying) if q.answered_at else ""
    shown = {"kind": q.kind, "wording": q.wording, "price": price, "options": options, "until": until}
    return shown, {"code": code, "label": label, "by": by}


def _unanswered(state: str) -> str:
    """The words of a question whose answer was taken back (it is open again) or that ran out."""
    return "said.no_answer" if state == "expired" else "answer.taken_back"


def _answered_by(unit: Unit, question: Question, saying: Saying) -> str:
    if question.answered_how != "staff":
        return saying.words("answered_by.claim_page")
    return saying.words("answered_by.staff", name=_staff_name(unit, question.staff_id or ""))


def _part(unit: Unit, message: Message, part_id: str, shop: Shop, saying: Saying) -> dict[str, str]:
    """The part; when customers hear of an order, all that is on its way by then, and the day the last is due."""
    if not part_id:
        return {"name": "", "supplier": "", "due": "", "label": ""}
    part = parts.get_part(unit, part_id)
    supplier = shops.find_supplier(unit, part.supplier_id).name if part.supplier_id else ""
    ordered = [p for p in parts.parts_of(unit, part.ticket_id) if p.state == PartState.ORDERED]
    told = (message.notice == "part_ordered" and ordered) or [part]
    due = max((p.due_at for p in told if p.due_at), default=None)
    return {
        "name": ", ".join(dict.fromkeys(p.name for p in told)), "supplier": supplier, "label": part.label,
        "due": _day(due, shop, saying) if due else "",
    }  # fmt: skip


def _hanging(unit: Unit, message: Message, shop: Shop, saying: Saying) -> list[dict[str, str]]:
    """The promises that wait for a parcel that is late, the earliest first; numbers and times only."""
    if message.notice != "part_late_shop":
        return []
    late = parts.get_part(unit, str(message.refs["part"]))
    parcel = late.supplier_id, late.due_at
    box = [p for p in parts.lines_in(unit, ("ordered",)) if (p.supplier_id, p.due_at) == parcel]
    about = tickets.tickets_by_id(unit, {one.ticket_id for one in box}).values()
    promised = sorted((t.promise_at, t.number) for t in about if t.promise_at is not None)
    return [
        {"number": show_number(number),
         "promise": saying.words("said.promise_by", day=_day(at, shop, saying), time=_time(at, shop, saying))}
        for at, number in promised
    ]  # fmt: skip


def _booking(unit: Unit, message: Message) -> Booking | None:
    """The booking a message speaks of; what got ready later joins the pickup that the visit has already."""
    if message.notice == "ready":
        return bookings.live_booking(unit, message.visit_id)
    named = str(message.refs.get("booking", ""))
    return bookings.get_booking(unit, named) if named else None


def _slot(booking: Booking | None, shop: Shop, saying: Saying) -> Any:
    if booking is None:
        return None
    return {
        "day": _day(booking.start_at, shop, saying), "time": _time(booking.start_at, shop, saying),
        "end": _time(booking.end_at, shop, saying), "place": ", ".join(x for x in (shop.name, shop.address) if x),
    }  # fmt: skip


def _staff_name(unit: Unit, staff_id: str) -> str:
    """Empty for somebody who is not on the list: a message is not held up for want of a name."""
    return next((str(row.name) for row in staff.list_staff(unit) if row.id == staff_id), "") if staff_id else ""


def _phone_to_call(unit: Unit, message: Message) -> str:
    """The customer's number for a call: any stored one, unless it sits in a device that is with us."""
    person = message.person_id or str(message.refs.get("person", ""))
    if not person:
        return ""
    with_us = tickets.is_device_with_us(unit, message.visit_id)
    return show_phone(people.phone_to_call(unit, person, device_with_us=with_us))

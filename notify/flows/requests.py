"""What people ask by law about their own data. Longer than other rooms: every step in the life of one request.

Taken in however it comes, made sure of, answered in time. A copy taken behind a code on the claim page is an access
answered in the same breath. An erasure is carried out by the night (requests_due), so that it can be taken back; what
stands against it by law stays, with its reason, and the request with it. Every kind keeps the person's data until it is
answered, except an erasure; what a restriction or an objection does once it is granted: flows/granted.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core import requests as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.holidays import HolidaysOf
from notify.core.requests import DONE, MOST_WORDS, OPEN, REFUSED, WITHDRAWN, Kind
from notify.core.shop import Shop
from notify.core.text import clean_block, clean_line
from notify.flows import contact_reads, granted
from notify.flows.context import Context
from notify.flows.held_about import Held, brought_by, gather_held, same_person
from notify.flows.reach import need_part
from notify.flows.request_news import add_note, tell, with_line
from notify.store import people, replies, requests
from notify.store.database import Unit
from notify.store.requests import Request
from notify.store.stamps import people_changed

PURPOSE = "rights"  # of the codes that open what is held
MOST_OPEN = 10  # of one person: a page that anybody with the code can press again and again
_SHORTEST = 5


@dataclass(frozen=True, slots=True)
class Taken:
    """A request as it stands after it was asked: `new` is False when the same one was open already."""

    id: str
    due_on: date
    erased_from: datetime | None
    new: bool


def holidays_of(unit: Unit, shop: Shop) -> Container[date]:
    """The public holidays that the shop's place keeps, which move a last day on; none where it names no place."""
    return HolidaysOf(shop.holidays_of, unit.almanac) if shop.holidays_of else frozenset()


def take_copy(ctx: Context, actor: Actor, visit_id: str, contact_id: str) -> Held:
    """Everything held about whoever brought the visit, for whoever typed a code that went to their stored contact.

    That is a request for access, answered in the same breath; a second copy on the same day is no second request.
    Looking at it on a page is none. Raises NotFound once they were forgotten.
    """
    actor.need("ask_code")
    with ctx.db.write(actor.shop_id) as unit:
        person_id, now = brought_by(unit, visit_id), ctx.clock()
        requests.hold_person(unit, person_id)
        if not _took_one(ctx, unit, person_id):
            _add(ctx, unit, actor, person_id, visit_id, Kind.ACCESS, how="claim_page", note="", received_at=now,
                 proved_at=now, ended_at=now)  # fmt: skip
        return gather_held(ctx, unit, person_id, *same_person(unit, person_id, contact_id))


def _took_one(ctx: Context, unit: Unit, person_id: str) -> bool:
    """Whether they took a copy today."""
    zone, today = ZoneInfo(ctx.shop(unit).zone), ctx.today(ctx.shop(unit))
    return any(
        one.kind is Kind.ACCESS and one.state == DONE and one.how == "claim_page"
        and one.received_at.astimezone(zone).date() == today
        for one in requests.requests_of(unit, person_id)
    )  # fmt: skip


def ask(
    ctx: Context, actor: Actor, visit_id: str, person_id: str, *, kind: str, how: str, note: str = "",
    made_sure: str = "", proved: bool = False, received_on: date | None = None,
) -> Taken:  # fmt: skip
    """Takes a request in. Twice the same erasure, restriction or objection, or the same words, is one.

    `proved`: a code to the stored contact was typed. `made_sure` is how staff know who it is, in words; without either
    nothing is done before somebody made sure. `received_on` is the day a letter came. Raises Invalid, NotFound.
    """
    actor.need("take_request")
    wanted, words = rules.read_kind(kind), clean_block(note, field="note", limit=MOST_WORDS)
    sure = clean_block(made_sure, field="made_sure", limit=MOST_WORDS)
    if how not in rules.WAYS:
        raise Invalid(f"{how[:20]!r} is no way to ask", f"Use one of: {', '.join(rules.WAYS)}.", field="how")
    if wanted is Kind.CORRECTION and len(words) < _SHORTEST:
        raise Invalid("What is to be corrected?", "Write what is wrong, and what is right.", field="note")
    with ctx.db.write(actor.shop_id) as unit:
        _check_part(unit, visit_id, person_id)
        received = _received(ctx, unit, received_on)
        whole = with_line(words, "made sure", sure)
        return _take(ctx, unit, actor, person_id, visit_id, wanted, how=how, note=whole, received_at=received,
                     proved_at=ctx.clock() if proved or sure else None)  # fmt: skip


def from_reply(ctx: Context, actor: Actor, reply_id: str) -> Taken:
    """Makes a request of a reply that asks to be forgotten, counted from when it came; who wrote is not proved by it.

    Raises Conflict for a reply that names nobody here.
    """
    actor.need("take_request")
    with ctx.db.write(actor.shop_id) as unit:
        reply = replies.get_reply(unit, reply_id)
        if not reply.person_id or not reply.visit_id:
            raise Conflict(
                "It is not known whose data this letter means", "Find out who wrote, then note it at their visit."
            )
        replies.mark_seen(unit, reply_id, at=ctx.clock(), staff_id=actor.staff_id)
        return _take(ctx, unit, actor, reply.person_id, reply.visit_id, Kind.ERASURE, how="reply", note="",
                     received_at=reply.at, proved_at=None)  # fmt: skip


def _check_part(unit: Unit, visit_id: str, person_id: str) -> None:
    need_part(unit, visit_id, person_id)
    if people.is_forgotten(unit, person_id):
        raise NotFound("This person was forgotten", "Nothing is held about them any more.")


def _received(ctx: Context, unit: Unit, on: date | None) -> datetime:
    """Now, or noon of the day on which a letter came."""
    if on is None:
        return ctx.clock()
    shop = ctx.shop(unit)
    if not ctx.today(shop) - timedelta(days=366) <= on <= ctx.today(shop):
        raise Invalid(f"It cannot have come on {on}", "Write the day on which it came, within the last year.",
                      field="received_on")  # fmt: skip
    noon = datetime.combine(on, datetime.min.time().replace(hour=12), ZoneInfo(shop.zone))
    return min(ctx.clock(), noon.astimezone(ctx.clock().tzinfo))


def _take(
    ctx: Context, unit: Unit, actor: Actor, person_id: str, visit_id: str, kind: Kind, *, how: str, note: str,
    received_at: datetime, proved_at: datetime | None,
) -> Taken:  # fmt: skip
    requests.hold_person(unit, person_id)
    waiting = [one for one in requests.requests_of(unit, person_id) if one.state == OPEN]
    same = next((one for one in waiting if one.kind is kind and _is_same(one, note)), None)
    if same is not None:
        if proved_at and not same.proved_at:
            requests.mark_proved(unit, same.id, at=proved_at)
        return _taken(requests.get_request(unit, same.id), new=False)
    if len(waiting) >= MOST_OPEN:
        raise Conflict("There are too many open requests", "They are answered first.")
    made = _add(ctx, unit, actor, person_id, visit_id, kind, how=how, note=note, received_at=received_at,
                proved_at=proved_at)  # fmt: skip
    tell(ctx, unit, actor, "request_taken", made)
    return _taken(made, new=True)


def _is_same(one: Request, note: str) -> bool:
    return one.kind is not Kind.CORRECTION or note in (one.note, "")


def _add(
    ctx: Context, unit: Unit, actor: Actor, person_id: str, visit_id: str, kind: Kind, *, how: str, note: str,
    received_at: datetime, proved_at: datetime | None, ended_at: datetime | None = None,
) -> Request:  # fmt: skip
    shop = ctx.shop(unit)
    day = received_at.astimezone(ZoneInfo(shop.zone)).date()
    new = requests.add_request(
        unit, person_id=person_id, visit_id=visit_id, kind=kind, how=how, received_at=received_at, proved_at=proved_at,
        due_on=rules.due_on(day, holidays=holidays_of(unit, shop)), note=note, staff_id=actor.staff_id,
        ended_at=ended_at,
    )  # fmt: skip
    return requests.get_request(unit, new)


def _taken(one: Request, *, new: bool) -> Taken:
    erased = rules.erased_from(one.asked_at) if one.kind is Kind.ERASURE else None
    return Taken(one.id, one.last_day, erased, new)


def prove(ctx: Context, actor: Actor, request_id: str, *, made_sure: str) -> None:
    """Staff made sure who asks, and say how. Raises Invalid without words, Conflict for one that is over."""
    actor.need("take_request")
    words = clean_block(made_sure, field="made_sure", limit=MOST_WORDS)
    if len(words) < _SHORTEST:
        raise Invalid("How did you make sure who asks?", "Write it in a few words.", field="made_sure")
    with ctx.db.write(actor.shop_id) as unit:
        one = _open(unit, request_id)
        add_note(unit, one, "made sure", words)
        requests.mark_proved(unit, one.id, at=ctx.clock())


def finish(ctx: Context, actor: Actor, request_id: str, *, note: str = "", name: str = "") -> None:
    """It is done: what was asked was given or changed. `name` puts the right name in the place of a wrong one.

    Raises NotAllowed while nobody made sure who asks, and for an erasure, which only the night carries out.
    """
    actor.need("settle_request")
    words, right = clean_block(note, field="note", limit=MOST_WORDS), clean_line(name, field="name", limit=80)
    with ctx.db.write(actor.shop_id) as unit:
        one = _open(unit, request_id)
        _need_proof(one)
        if one.kind is Kind.ERASURE:
            raise NotAllowed("An erasure is done by the next night that may", "Refuse it, or wait for the night.")
        if one.kind is Kind.RESTRICTION and _wants_out(unit, one):
            raise Conflict("They also asked to be forgotten", "Ask which of the two they want, and end the other.")
        if right and one.kind is not Kind.CORRECTION:
            raise Invalid("A name goes with a correction only", "Leave it out.", field="name")
        if right:
            people.set_name(unit, one.person_id, right)
        if one.kind is Kind.OBJECTION:
            granted.stop_interests(ctx, unit, actor, one)
        if one.kind is Kind.RESTRICTION:
            granted.set_aside_others(ctx, unit, actor, one)
        _end(ctx, unit, actor, one, DONE, words=words)


def _wants_out(unit: Unit, one: Request) -> bool:
    return any(other.will_erase for other in requests.requests_of(unit, one.person_id))


def refuse(ctx: Context, actor: Actor, request_id: str, *, reason: str, note: str) -> None:
    """Refuses it for a reason of the list; who asked is told, with the way to complain. Raises Invalid."""
    actor.need("settle_request")
    words = clean_block(note, field="note", limit=MOST_WORDS)
    if reason not in rules.REASONS:
        raise Invalid("No reason was chosen", f"Use one of: {', '.join(rules.REASONS)}.", field="reason")
    if len(words) < _SHORTEST:
        raise Invalid("Why is it refused?", "Write it in a few words: you must be able to show it.", field="note")
    with ctx.db.write(actor.shop_id) as unit:
        _end(ctx, unit, actor, _open(unit, request_id), REFUSED, words=words, reason=reason)


def extend(ctx: Context, actor: Actor, request_id: str, *, note: str) -> date:
    """Two months more, told within the first month with the reason; the new last day. Raises Conflict once too late."""
    actor.need("settle_request")
    words = clean_block(note, field="note", limit=MOST_WORDS)
    if len(words) < _SHORTEST:
        raise Invalid("Why does it take longer?", "Write it in a few words; they must be told.", field="note")
    with ctx.db.write(actor.shop_id) as unit:
        one, shop = _open(unit, request_id), ctx.shop(unit)
        if not rules.may_extend(ctx.today(shop), one.due_on, one.extended_to):
            raise Conflict("It cannot be extended", "Only once, and only within the first month.")
        day = one.received_at.astimezone(ZoneInfo(shop.zone)).date()
        until = rules.longest(day, holidays=holidays_of(unit, shop))
        requests.extend(unit, one.id, until)
        add_note(unit, one, "takes longer", words)
        tell(ctx, unit, actor, "request_extended", one)
        return until


def withdraw(ctx: Context, actor: Actor, request_id: str, *, person_id: str = "") -> None:
    """Who asked takes it back: one that is open, or a restriction, which ends then. Raises NotFound, Conflict.

    With `person_id` only that person's own is found. Without, whoever may grant a restriction may end one.
    """
    actor.need("take_request")
    with ctx.db.write(actor.shop_id) as unit:
        one = requests.get_request(unit, request_id)
        if person_id and one.person_id != person_id:
            raise NotFound("There is no such request", "Look at the list of requests.")
        if one.in_force:
            actor.need("take_request" if person_id else "settle_request")
            granted.end(ctx, unit, actor, one)
        else:
            _end(ctx, unit, actor, _open(unit, request_id), WITHDRAWN, words="")


def _open(unit: Unit, request_id: str) -> Request:
    requests.hold_person(unit, requests.get_request(unit, request_id).person_id)
    one = requests.get_request(unit, request_id)
    if one.state != OPEN:
        raise Conflict("This request is over already", "Look at the list of requests.")
    return one


def _need_proof(one: Request) -> None:
    if one.proved_at is None:
        advice = "Say first how you know that it is them (`shelfbell request prove`)."
        raise NotAllowed("Nobody has made sure yet who asks", advice)


def _end(
    ctx: Context, unit: Unit, actor: Actor, one: Request, state: str, *, words: str, reason: str = ""
) -> None:  # fmt: skip
    add_note(unit, one, "answered", words)
    requests.end(unit, one.id, state, at=ctx.clock(), reason=reason, staff_id=actor.staff_id)
    people_changed(unit, [one.person_id])
    tell(ctx, unit, actor, "request_ended", one, state=state)


def export(ctx: Context, actor: Actor, request_id: str) -> Held:
    """Everything held about whoever asked, for staff to hand over. Raises NotAllowed while it is not known who asks."""
    actor.need("export")
    with ctx.db.read(actor.shop_id) as unit:
        one = requests.get_request(unit, request_id)
        _need_proof(one)
        found = gather_held(ctx, unit, one.person_id)
    contact_reads.note(ctx, actor, "request", [(one.person_id, None)])
    return found

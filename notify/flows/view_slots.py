"""The pickup times a customer, or staff for a caller, may choose, by day, as data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.slots import Slot
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows.claim_shown import Speech
from notify.flows.claims import open_claim
from notify.flows.context import Context
from notify.flows.pickup import Offer, each_place
from notify.render.moments import Moments
from notify.render.words import Language
from notify.store import bookings, people, tickets, visits
from notify.store.database import Unit
from notify.store.tickets import Ticket

OPEN_DAYS = 2  # shown unfolded, so that any time of them is one press away
FULL_DAYS = 5  # fully booked days that are named; more are counted


@dataclass(frozen=True, slots=True)
class Time:
    """`value` is "2026-11-26T17:30/0", shop-local start and fold; `label` "9:15" and `rest` "in the morning".

    `note` says what is special about it, or is empty; `is_last` when one place is left of several.
    """

    value: str
    label: str
    rest: str
    note: str
    is_last: bool


@dataclass(frozen=True, slots=True)
class Part:
    """The free times of one part of a day, such as "In the morning"."""

    label: str
    times: tuple[Time, ...]


@dataclass(frozen=True, slots=True)
class Day:
    """One day with free times."""

    label: str
    free: str
    is_open: bool
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class SlotsView:
    """`moving` says what is held already, `together` what is still in work, `soonest` the first time, `full` which days
    have none left: each a sentence, or empty. `is_ready` is False when there is nothing to collect.
    """

    shop_id: str
    visit_id: str
    language: str
    number: str
    moving: str
    is_ready: bool
    together: str
    soonest: str
    full: str
    days: tuple[Day, ...]


def view_slots(ctx: Context, token: str, speech: Speech) -> SlotsView:
    """The free times for the visit behind a claim secret. Raises NotFound or Forgotten."""
    claim = open_claim(ctx, token)
    with ctx.db.read(claim.shop_id) as unit:
        own = tickets.get_ticket(unit, claim.ticket_id)
        words = speech.pages(people.get_person(unit, own.person_id).language)
        return _view(ctx, unit, own, words)


def view_slots_at_desk(ctx: Context, actor: Actor, visit_id: str, words: Language) -> SlotsView:
    """The same for staff who have the customer before them or on the phone. Raises NotFound."""
    actor.need("book")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        return _view(ctx, unit, tickets.tickets_of_visit(unit, visit_id)[0], words)


def _view(ctx: Context, unit: Unit, own: Ticket, words: Language) -> SlotsView:
    moments = Moments(words, ctx.shop(unit).zone, ctx.clock())
    whole = tickets.tickets_of_visit(unit, own.visit_id)
    booking = bookings.live_booking(unit, own.visit_id)
    places = tuple(each_place(ctx, unit, own.visit_id))
    free = tuple(one for one in places if one.free > 0 and not one.is_own)
    complete = _complete_from(whole, moments.now)
    return SlotsView(
        shop_id=unit.shop_id, visit_id=own.visit_id, language=words.code, number=show_number(own.number),
        moving=words("slots.moving", when=moments.at(booking.start_at)) if booking else "",
        is_ready=any(one.phase is Phase.ON_SHELF for one in whole), together=_together(whole, complete, words, moments),
        soonest=_soonest(free, words, moments), full=_full(places, words, moments),
        days=_days(free, words, moments, complete),
    )  # fmt: skip


def _in_work(whole: tuple[Ticket, ...]) -> list[Ticket]:
    return [one for one in whole if one.phase in OPEN_PHASES and one.phase is not Phase.ON_SHELF]


def _complete_from(whole: tuple[Ticket, ...], now: datetime) -> datetime | None:
    """From when all can be collected together; None when all is ready, or somebody has no promise that still holds."""
    promised = [one.promise_at for one in _in_work(whole)]
    known = [at for at in promised if at is not None and at > now]
    return max(known) if known and len(known) == len(promised) else None


def _together(whole: tuple[Ticket, ...], complete: datetime | None, words: Language, moments: Moments) -> str:
    if not _in_work(whole):
        return ""
    return words("slots.together", when=moments.by(complete)) if complete else words["slots.together_late"]


def _soonest(free: tuple[Offer, ...], words: Language, moments: Moments) -> str:
    return words("slots.soonest", when=moments.spoken(free[0].slot.start)) if free else ""


def _full(places: tuple[Offer, ...], words: Language, moments: Moments) -> str:
    """The days on which every place is taken by others; the own one counts as free."""
    days = [tuple(of_it) for _, of_it in groupby(places, key=_day_of)]
    full = [of_it[0].slot.start for of_it in days if not any(one.free > 0 for one in of_it)]
    named = [moments.day(start) for start in full[:FULL_DAYS]]
    if len(full) > FULL_DAYS:
        named.append(words("slots.full_more", count=len(full) - FULL_DAYS))
    return words("slots.full", days="; ".join(named)) if full else ""


def _day_of(offer: Offer) -> date:
    return offer.slot.local.date()


def _days(free: tuple[Offer, ...], words: Language, moments: Moments, complete: datetime | None) -> tuple[Day, ...]:
    """Those days first unfolded on which all can be collected together."""
    first = next((one.slot for one in free if complete and one.slot.start >= complete), None)
    days: list[Day] = []
    unfolded = 0
    for day, grouped in groupby(free, key=_day_of):
        of_it = tuple(grouped)
        is_open = unfolded < OPEN_DAYS and (first is None or day >= first.local.date())
        unfolded += is_open
        count = words["slots.free_one"] if len(of_it) == 1 else words("slots.free", count=len(of_it))
        days.append(Day(moments.heading(of_it[0].slot.start), count, is_open, _parts(of_it, words, moments, first)))
    return tuple(days)


def _parts(of_it: tuple[Offer, ...], words: Language, moments: Moments, first: Slot | None) -> tuple[Part, ...]:
    twice = {one.slot.local for one in of_it if one.slot.fold} & {one.slot.local for one in of_it if not one.slot.fold}
    parts = groupby(of_it, key=lambda one: moments.part(one.slot.start))
    return tuple(
        Part(f"{part[:1].upper()}{part[1:]}", tuple(
            _time(one, words, moments, is_first=one.slot == first, is_twice=one.slot.local in twice) for one in grouped
        ))
        for part, grouped in parts
    )  # fmt: skip


def _time(offer: Offer, words: Language, moments: Moments, *, is_first: bool, is_twice: bool) -> Time:
    slot = offer.slot
    notes = [words["slots.from_here"]] if is_first else []
    if is_twice:
        notes.append(words["slots.after_change" if slot.fold else "slots.before_change"])
    return Time(
        f"{slot.local:%Y-%m-%dT%H:%M}/{slot.fold}", moments.time(slot.start), moments.part(slot.start),
        ", ".join(notes), offer.free == 1 < slot.capacity,
    )  # fmt: skip


def read_slot(text: str) -> tuple[datetime, int]:
    """The local start and fold of a Time's value. Raises ValueError for any other text."""
    local, _, fold = text.partition("/")
    start = datetime.strptime(local, "%Y-%m-%dT%H:%M")  # noqa: DTZ007 - wall time on purpose
    if fold not in ("0", "1"):
        raise ValueError(text)
    return start, int(fold)

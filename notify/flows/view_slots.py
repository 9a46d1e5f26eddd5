"""The pickup times a customer may choose, by day, as data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from notify.core.claim_number import show_number
from notify.core.tickets import Phase
from notify.flows.claim_shown import Speech
from notify.flows.claims import open_claim
from notify.flows.context import Context
from notify.flows.pickup import Offer, offers_within
from notify.render.moments import Moments
from notify.render.words import Language
from notify.store import bookings, people, tickets

OPEN_DAYS = 2  # shown unfolded, so that any time of them is one press away


@dataclass(frozen=True, slots=True)
class Time:
    """`value` is "2026-11-26T17:30/0", shop-local start and fold; `is_last` when one place is left of several."""

    value: str
    label: str
    is_last: bool


@dataclass(frozen=True, slots=True)
class Day:
    """One day with free times."""

    label: str
    free: str
    is_open: bool
    times: tuple[Time, ...]


@dataclass(frozen=True, slots=True)
class SlotsView:
    """`moving` says what is held already, "" for nothing; `is_ready` is False when there is nothing to collect."""

    shop_id: str
    visit_id: str
    language: str
    number: str
    moving: str
    is_ready: bool
    days: tuple[Day, ...]


def view_slots(ctx: Context, token: str, speech: Speech) -> SlotsView:
    """The free times for the visit behind a claim secret. Raises NotFound or Forgotten."""
    claim = open_claim(ctx, token)
    with ctx.db.read(claim.shop_id) as unit:
        shop, own = ctx.shop(unit), tickets.get_ticket(unit, claim.ticket_id)
        words = speech.pages(people.get_person(unit, own.person_id).language)
        moments = Moments(words, shop.zone, ctx.clock())
        booking = bookings.live_booking(unit, claim.visit_id)
        return SlotsView(
            shop_id=claim.shop_id, visit_id=claim.visit_id, language=words.code, number=show_number(own.number),
            moving=words("slots.moving", when=moments.at(booking.start_at)) if booking else "",
            is_ready=Phase.ON_SHELF in tickets.phases_of_visit(unit, claim.visit_id).values(),
            days=_days(offers_within(ctx, unit, claim.visit_id), words, moments),
        )  # fmt: skip


def _days(offered: tuple[Offer, ...], words: Language, moments: Moments) -> tuple[Day, ...]:
    by_day = [(day, tuple(of_it)) for day, of_it in groupby(offered, key=lambda offer: offer.slot.local.date())]
    days: list[Day] = []
    for _, of_it in by_day:
        free = words["slots.free_one"] if len(of_it) == 1 else words("slots.free", count=len(of_it))
        times = tuple(_time(offer, of_it, moments) for offer in of_it)
        days.append(Day(moments.heading(of_it[0].slot.start), free, len(days) < OPEN_DAYS, times))
    return tuple(days)


def _time(offer: Offer, same_day: tuple[Offer, ...], moments: Moments) -> Time:
    slot = offer.slot
    label = moments.time(slot.start)
    if sum(1 for other in same_day if other.slot.local == slot.local) > 1:
        label += slot.start.astimezone(moments.tz).strftime(" %Z")  # the hour that comes twice needs its zone's name
    return Time(f"{slot.local:%Y-%m-%dT%H:%M}/{slot.fold}", label, offer.free == 1 < slot.capacity)


def read_slot(text: str) -> tuple[datetime, int]:
    """The local start and fold of a Time's value. Raises ValueError for any other text."""
    local, _, fold = text.partition("/")
    start = datetime.strptime(local, "%Y-%m-%dT%H:%M")  # noqa: DTZ007 - wall time on purpose
    if fold not in ("0", "1"):
        raise ValueError(text)
    return start, int(fold)

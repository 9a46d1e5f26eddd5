"""A visit as the shop sees it: its devices, and by which ways its people hear from us. Contacts are masked."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.mask import mask_email, mask_phone
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows.context import Context
from notify.flows.forecast_made import now_of
from notify.flows.view_lines import left_to_pay
from notify.store import people, tickets, visits
from notify.store.database import Unit
from notify.store.tickets import Ticket

_PIECES = re.compile(r"[,;\n]+")


@dataclass(frozen=True, slots=True)
class DeviceView:
    """One device. Amounts are minor units; `left` is what is still to pay: None without a price or a repair."""

    id: str
    number: str
    device: str
    device_class: str
    phase: Phase
    outcome: str
    reason: str
    promise_at: datetime | None
    shelf: str
    safety: tuple[str, ...]
    accessories: tuple[str, ...]
    left: int | None
    deposit: int | None
    paid: bool
    has_claim: bool


@dataclass(frozen=True, slots=True)
class ReachView:
    """One way to a person: masked address, allowed purposes, and whether it rests while the device is here."""

    channel: str
    address: str
    purposes: tuple[str, ...]
    rests: bool


@dataclass(frozen=True, slots=True)
class VisitView:
    """One visit. `person` brought it, `told` is the name of who hears from us when that is somebody else.

    `suggested` are times that could be promised for devices in work without a promise, by identifier.
    """

    visit_id: str
    person: str
    told: str
    reach: tuple[ReachView, ...]
    devices: tuple[DeviceView, ...]
    suggested: Mapping[str, datetime]


def view_visit(ctx: Context, actor: Actor, visit_id: str) -> VisitView:
    """The visit; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        roles = visits.visit_people(unit, visit_id)
        bringer, told = roles["bringer"][0], roles["tell"][0]
        whole = tickets.tickets_of_visit(unit, visit_id)
        return VisitView(
            visit_id=visit_id,
            person=people.get_person(unit, bringer).name,
            told=people.get_person(unit, told).name if told != bringer else "",
            reach=_reach(unit, told, with_us=tickets.is_device_with_us(unit, visit_id)),
            devices=tuple(device_view(ticket) for ticket in whole), suggested=_suggested(ctx, unit, whole),
        )  # fmt: skip


def _suggested(ctx: Context, unit: Unit, whole: Sequence[Ticket]) -> dict[str, datetime]:
    """What could be promised for those in work without a promise."""
    in_work = [t for t in whole if t.phase in OPEN_PHASES and t.phase is not Phase.ON_SHELF]
    open_ones = [t.id for t in in_work if t.promise_at is None]
    known = now_of(ctx, unit) if open_ones else {}
    found = {one: known[one].promise_at for one in open_ones if one in known}
    return {one: at for one, at in found.items() if at is not None}


def device_view(ticket: Ticket) -> DeviceView:
    """A ticket without what only its own page shows; never the claim secret."""
    return DeviceView(
        id=ticket.id, number=show_number(ticket.number), device=ticket.device, device_class=ticket.device_class,
        phase=ticket.phase, outcome=ticket.outcome, reason=ticket.reason, promise_at=ticket.promise_at,
        shelf=ticket.shelf, safety=ticket.safety, accessories=pieces(ticket.accessories), left=left_to_pay(ticket),
        deposit=ticket.deposit, paid=ticket.paid, has_claim=bool(ticket.token),
    )  # fmt: skip


def pieces(text: str) -> tuple[str, ...]:
    """ "strap, charger" as its parts."""
    return tuple(piece.strip() for piece in _PIECES.split(text) if piece.strip())


def _reach(unit: Unit, person_id: str, *, with_us: bool) -> tuple[ReachView, ...]:
    uses: Mapping[str, frozenset[str]] = people.allowed_uses(unit, (person_id,)).get(person_id, {})
    return tuple(
        ReachView(
            channel=contact.channel,
            address=(mask_phone if contact.channel == "sms" else mask_email)(contact.address),
            purposes=() if contact.suppressed_at else tuple(sorted(uses.get(contact.channel, frozenset()))),
            rests=contact.in_repaired_device and with_us,
        )
        for contact in people.contacts_of(unit, person_id)
        if not contact.undeliverable
    )

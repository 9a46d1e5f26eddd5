"""What goes on paper for one ticket: the claim ticket, the label for the device, and the code they carry."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.contacts import show_phone
from notify.core.errors import NotFound
from notify.core.money import show_amount
from notify.core.retention import Rule
from notify.core.shop import Shop
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows.context import Context
from notify.flows.keeping import rule_of
from notify.flows.privacy_address import privacy_address
from notify.flows.view_visit import pieces
from notify.render.claim_ticket import ClaimTicket
from notify.render.dates import say_day, say_time
from notify.render.keeping_says import after_handback
from notify.render.labels import DeviceLabel, PartLabel
from notify.render.paper_words import load_words
from notify.render.words import Language
from notify.store import parts, people, shops, tickets, visits
from notify.store.tickets import Ticket

Speak = Callable[[str], Language]


def claim_ticket(ctx: Context, actor: Actor, ticket_id: str, *, words: Speak, templates: Path) -> ClaimTicket:
    """The claim ticket in the bringer's language. Raises NotFound once the claim was forgotten.

    Without a public address there is no link on it, and its code is one that only the shop's scanner reads.
    """
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop, ticket = ctx.shop(unit), tickets.get_ticket(unit, ticket_id)
        language = people.get_person(unit, ticket.person_id).language
        rule = rule_of(ctx, unit)
    _check_claim(ticket)
    w = words(language)
    return ClaimTicket(
        shop_name=shop.name, shop_lines=tuple(shop.address.splitlines()), shop_phone=show_phone(shop.phone),
        number=show_number(ticket.number), qr_text=ctx.claim_code(ticket.token), link=ctx.claim_link(ticket.token),
        received=w("stub.received", day=say_day(ticket.created_at, zone=shop.zone, language=language),
                   time=say_time(ticket.created_at, zone=shop.zone, language=language)),
        device=ticket.device, accessories=pieces(ticket.accessories), fault=ticket.fault,
        money_lines=_money(ticket, shop, w), promise_line=_promise(ticket, shop, w),
        cautions=load_words(templates, language).caution_lines(ticket.safety),
        privacy_lines=_privacy(ctx, rule, shop, w), language=language,
    )  # fmt: skip


def device_label(ctx: Context, actor: Actor, ticket_id: str) -> tuple[DeviceLabel, str]:
    """The label for the device, and the shop's language; it carries the number only, never the claim."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop, ticket = ctx.shop(unit), tickets.get_ticket(unit, ticket_id)
    label = DeviceLabel(show_number(ticket.number), ticket.shelf, ticket.device, ticket.safety, ticket.number)
    return label, shop.language


def part_label(ctx: Context, actor: Actor, part_id: str) -> tuple[PartLabel, str]:
    """The label for a part's bag, and the shop's language; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop, part = ctx.shop(unit), parts.get_part(unit, part_id)
        ticket = tickets.get_ticket(unit, part.ticket_id)
        supplier = shops.find_supplier(unit, part.supplier_id).name if part.supplier_id else ""
    return PartLabel(part.label, part.name, show_number(ticket.number), supplier), shop.language


def claim_code(ctx: Context, actor: Actor, visit_id: str) -> tuple[str, str]:
    """What the QR code of a visit's first ticket holds, and that ticket's number; raises NotFound."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        ticket = tickets.tickets_of_visit(unit, visit_id)[0]
    _check_claim(ticket)
    return ctx.claim_code(ticket.token), show_number(ticket.number)


def _check_claim(ticket: Ticket) -> None:
    if not ticket.token:
        raise NotFound("This repair is over and its claim was forgotten", "There is nothing to print any more.")


def _money(ticket: Ticket, shop: Shop, w: Language) -> tuple[str, ...]:
    amounts = (("price_agreed", ticket.price_agreed), ("price_limit", ticket.price_limit), ("deposit", ticket.deposit))
    lines = [
        w(f"stub.{name}", amount=show_amount(minor, currency=shop.currency, language=w.code))
        for name, minor in amounts
        if minor is not None
    ]
    return (*lines, *([w("stub.paid")] if ticket.paid else []))


def _promise(ticket: Ticket, shop: Shop, w: Language) -> str:
    if ticket.promise_at is None:
        in_work = ticket.phase in OPEN_PHASES and ticket.phase is not Phase.ON_SHELF
        return w("stub.promise_none") if in_work else ""
    day = say_day(ticket.promise_at, zone=shop.zone, language=w.code)
    time = say_time(ticket.promise_at, zone=shop.zone, language=w.code)
    return w("stub.promise", when=w("said.promise_by", day=day, time=time))


def _privacy(ctx: Context, rule: Rule, shop: Shop, w: Language) -> tuple[str, ...]:
    """Who keeps what, how long, and where the rest stands (GDPR article 13 asks for it when data are collected)."""
    page = privacy_address(ctx, shop.id, w.code)
    rest = w("stub.privacy_link", link=page) if page else w("stub.privacy_ask")
    return w("stub.privacy_what"), w("stub.privacy_when", after=after_handback(rule, w)), rest

"""Kinds of repair: add, change, retire; which one a ticket is; the kinds that a new shop starts with."""

from __future__ import annotations

from notify.core import first_kinds
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid
from notify.core.text import clean_line
from notify.flows.check_in_form import DEVICE_CLASSES
from notify.flows.context import Context
from notify.flows.learn import move_to_kind
from notify.store import repair_kinds, shops, tickets
from notify.store.database import Unit
from notify.store.repair_kinds import KindRow, find_kind
from notify.store.tickets import Job

MOST_KINDS = 500
MOST_MINUTES = 6000


def kind_of(unit: Unit, ticket: Job) -> KindRow:
    """The kind of a ticket: its own, else the shop's catch-all."""
    return repair_kinds.get_kind(unit, ticket.kind_id) if ticket.kind_id else repair_kinds.catch_all(unit)


def clean_name(name: str) -> str:
    """A kind's name as it is kept. Raises Invalid."""
    words = clean_line(name, field="kind", limit=80)
    if not words:
        raise Invalid("The kind of repair has no name", "Say in a few words what is repaired.", field="kind")
    if not words[0].isalnum():  # a spreadsheet would take some signs for a formula
        raise Invalid("A kind's name begins with a letter or a digit", "Leave the sign before it out.", field="kind")
    return words


def put_kind(
    ctx: Context, actor: Actor, *, name: str, minutes: int, device_class: str = "", new_name: str = ""
) -> str:  # fmt: skip
    """Adds a kind, or changes the one of that name; its identifier. An empty `device_class` fits every device.

    Raises Invalid (name, minutes, class), Conflict when `new_name` is another one's.
    """
    actor.need("settings")
    words, renamed = clean_name(name), clean_name(new_name) if new_name else ""
    _check(minutes, device_class)
    with ctx.db.write(actor.shop_id) as unit:
        known = _by_name(unit)
        found = known.get(words.casefold())
        if renamed and found is not known.get(renamed.casefold(), found):
            raise Conflict("Another kind of repair has this name", "Choose another name.", field="name")
        if found is None:
            return add_within(unit, renamed or words, minutes, device_class, known=len(known))
        repair_kinds.change_kind(
            unit, found.id, name=renamed or found.name, minutes=minutes, active=True,
            device_class="" if found.catch_all else device_class,
        )  # fmt: skip
        shops.note_change(unit)
        return found.id


def add_within(unit: Unit, name: str, minutes: int, device_class: str = "", *, known: int) -> str:
    """Adds a kind inside the caller's transaction, where `known` of them are there. Raises Conflict for too many."""
    if known >= MOST_KINDS:
        what = f"A shop has at most {MOST_KINDS} kinds of repair"
        raise Conflict(what, "Rename one, or use a wider one.", field="kind")
    new = repair_kinds.add_kind(unit, name=name, minutes=minutes, device_class=device_class)
    shops.note_change(unit)
    return new


def _by_name(unit: Unit) -> dict[str, KindRow]:
    return {row.name.casefold(): row for row in repair_kinds.list_kinds(unit)}


def _check(minutes: int, device_class: str) -> None:
    if not 1 <= minutes <= MOST_MINUTES:
        raise Invalid(f"A repair takes 1 to {MOST_MINUTES} minutes on the bench", "Correct it.", field="minutes")
    if device_class and device_class not in DEVICE_CLASSES:
        raise Invalid("That kind of device is not known here", f"Use one of: {', '.join(DEVICE_CLASSES)}.",
                      field="device_class")  # fmt: skip


def set_active(ctx: Context, actor: Actor, name_or_id: str, *, active: bool) -> str:
    """Offers a kind no longer, or again; tickets that name it keep it. Its name. Raises Conflict for the catch-all."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        row = find_kind(unit, name_or_id)
        if row.catch_all and not active:
            raise Conflict(f"{row.name!r} stands for all that has no kind", "Rename it instead.", field="kind")
        repair_kinds.change_kind(unit, row.id, active=active)
        shops.note_change(unit)
        return row.name


def set_kind(ctx: Context, actor: Actor, ticket_id: str, name_or_id: str) -> None:
    """Says what kind of repair a ticket is; an empty one takes it back. What it taught counts for the new kind."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        row = find_kind(unit, name_or_id) if name_or_id.strip() else None
        if (row.id if row else None) == ticket.kind_id:
            return
        tickets.change_ticket(unit, ticket, kind_id=row.id if row else None)
        move_to_kind(unit, ticket_id, row.id if row else repair_kinds.catch_all(unit).id)
        shops.note_change(unit)  # no event tells of it, and the forecast changes


def add_rest(unit: Unit, *, language: str) -> None:
    """The catch-all of a new shop, inside the caller's transaction."""
    name = first_kinds.in_language(first_kinds.REST, language)
    repair_kinds.add_kind(unit, name=name, minutes=first_kinds.REST_MINUTES, catch_all=True)


def add_first(ctx: Context, actor: Actor) -> int:
    """Adds the kinds that a new shop starts with, those that are missing; how many."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        return add_first_within(unit, language=ctx.shop(unit).language)


def add_first_within(unit: Unit, *, language: str) -> int:
    """The same inside the caller's transaction, in that language."""
    known = _by_name(unit)
    if not any(row.catch_all for row in known.values()):
        add_rest(unit, language=language)
    missing = [
        (name, minutes, device_class)
        for device_class, minutes, names in first_kinds.FIRST
        if (name := first_kinds.in_language(names, language)).casefold() not in known
    ]
    for name, minutes, device_class in missing:
        add_within(unit, name, minutes, device_class, known=len(known))
    return len(missing)

"""Who works here, as the pages and commands list them."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.actors import Actor
from notify.core.mask import mask_email, mask_phone
from notify.flows.context import Context
from notify.store import absences, rings, staff
from notify.store.absences import Absence
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Colleague:
    """One person who works here; `has_pin` says whether the quick switch works for them.

    `rings_by` is how the shop's bell rings for them (core/rings), `email` and `phone` where, masked. `at_bench` says
    whether they repair, `away` when they are not here, now or to come.
    """

    id: str
    name: str
    role: str
    active: bool
    has_pin: bool
    rings_by: str
    email: str
    phone: str
    at_bench: bool
    away: tuple[Absence, ...]


def view_staff(ctx: Context, actor: Actor) -> tuple[Colleague, ...]:
    """Everybody who works or worked here, by name."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return colleagues(ctx, unit)


def colleagues(ctx: Context, unit: Unit) -> tuple[Colleague, ...]:
    """Like view_staff, inside the caller's transaction."""
    rows, away = staff.list_staff(unit), absences.list_absences(unit, after=ctx.clock())
    where = rings.addresses(unit, [row.id for row in rows])
    return tuple(
        Colleague(row.id, row.name, row.role, row.active, bool(row.pin_hash), row.rings_by,
                  _masked(where[row.id]["email"]), _masked(where[row.id]["sms"]), row.at_bench,
                  tuple(one for one in away if one.staff_id == row.id))
        for row in rows
    )  # fmt: skip


def _masked(address: str) -> str:
    if not address:
        return ""
    return mask_email(address) if "@" in address else mask_phone(address)

"""Who works here, as the pages and commands list them."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.actors import Actor
from notify.flows.context import Context
from notify.store import staff


@dataclass(frozen=True, slots=True)
class Colleague:
    """One person who works here; `has_pin` says whether the quick switch works for them."""

    id: str
    name: str
    role: str
    active: bool
    has_pin: bool


def view_staff(ctx: Context, actor: Actor) -> tuple[Colleague, ...]:
    """Everybody who works or worked here, by name."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        rows = staff.list_staff(unit)
    return tuple(Colleague(row.id, row.name, row.role, row.active, bool(row.pin_hash)) for row in rows)

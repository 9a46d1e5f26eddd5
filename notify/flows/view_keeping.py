"""What of whom would go, what stays and why, and when: for the dry run, the owner's page and a ticket's page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.retention import ends_on
from notify.flows.context import Context
from notify.flows.data_holds import HoldLine, holds_of
from notify.flows.keeping import Fate, fate, fates, midnight
from notify.store import data_holds, keeping, requests, retention
from notify.store.database import Unit
from notify.store.tickets import Ticket

# Table -> what its rows are, for one and for several; what is not named here is counted by its table.
KINDS: dict[str, tuple[str, str]] = {
    "people": ("name", "names"),
    "contacts": ("way to reach them", "ways to reach them"),
    "tickets": ("device described", "devices described"),
    "notes": ("note", "notes"),
    "questions": ("question", "questions"),
    "parts": ("part", "parts"),
    "messages": ("message", "messages"),
    "contact_codes": ("code", "codes"),
    "passes": ("pass", "passes"),
    "replies": ("reply", "replies"),
    "doubts": ("row of another system", "rows of another system"),
    "data_holds": ("note on why they are kept", "notes on why they are kept"),
    "requests": ("note on a request", "notes on requests"),
}


@dataclass(frozen=True, slots=True)
class Keeping:
    """What a ticket's page says of the data: the instant from which they go, what keeps them, and the holds."""

    state: str
    goes_at: datetime | None
    reasons: tuple[str, ...]
    holds: tuple[HoldLine, ...]


@dataclass(frozen=True, slots=True)
class Stay:
    """One kind of data that stays without a name: a code of core/retention.DATA_CLASSES, and until when if it ends."""

    data_class: str
    until: date | None


@dataclass(frozen=True, slots=True)
class PersonFate:
    """One person by their claim numbers: what becomes of them, how many rows of what would go, and what stays.

    `look_again_on`: the first day on which somebody looks again at a hold. `asked_from`: from when on the night forgets
    them because they asked for it, if nothing stands against it.
    """

    numbers: tuple[str, ...]
    fate: Fate
    goes: Mapping[str, int]
    stays: tuple[Stay, ...]
    look_again_on: date | None
    asked_from: datetime | None = None


def keeping_of(ctx: Context, unit: Unit, actor: Actor, ticket: Ticket) -> Keeping:
    """For one ticket: whoever brought it, over all the visits they have a part in."""
    found = fate(ctx, unit, ticket.person_id)
    goes_at = midnight(found.goes_on, ctx.shop(unit)) if found.goes_on else None
    return Keeping(found.state, goes_at, found.reasons, holds_of(ctx, unit, actor, ticket.visit_id))


def view_fates(ctx: Context, actor: Actor, *, everyone: bool = False) -> tuple[PersonFate, ...]:
    """Whom tonight would forget, and who stays although their time is over; also those not yet due with `everyone`.

    Nothing is opened and nothing changed: claim numbers, counts, codes and days only. The earliest to go first.
    """
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = [one for one in fates(ctx, unit) if everyone or one.state in ("due", "kept")]
        found.sort(key=lambda one: (one.goes_on or date.max, one.person_id))
        return tuple(_whole(ctx, unit, found)) if found else ()


def view_fate(ctx: Context, actor: Actor, person_id: str) -> PersonFate:
    """The same of one person, whatever becomes of them."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return _whole(ctx, unit, [fate(ctx, unit, person_id)])[0]


def _whole(ctx: Context, unit: Unit, found: list[Fate]) -> list[PersonFate]:
    only = found[0].person_id if len(found) == 1 else ""
    numbers, rows = keeping.numbers_of(unit, [only] if only else None), keeping.held_rows(unit, person_id=only)
    proofs, again = keeping.proofs_of(unit, person_id=only), data_holds.first_reviews(unit)
    today, asked = ctx.today(ctx.shop(unit)), requests.asked_to_erase(unit)
    return [
        PersonFate(
            tuple(map(show_number, numbers.get(one.person_id, ()))), one, rows.get(one.person_id, {}),
            _stays(unit, today, one, proofs.get(one.person_id, frozenset())), again.get(one.person_id),
            asked.get(one.person_id),
        )
        for one in found
    ]  # fmt: skip


def _stays(unit: Unit, today: date, one: Fate, proofs: frozenset[str]) -> tuple[Stay, ...]:
    """What stays of somebody once they are forgotten, reckoned from the night in which that is."""
    gone_on, rules = max(one.goes_on or today, today), retention.rules(unit, today)
    proofs_until = [Stay(code, ends_on(rules[code], gone_on)) for code in sorted(proofs | {"erasure_record"})]
    return (Stay("job_record", None), *proofs_until)

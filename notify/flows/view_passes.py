"""Passes as the customer sees them on the claim page, and the page that whoever holds one shows at the counter."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.claim_number import show_number, show_pass_code
from notify.core.errors import NotFound
from notify.core.mask import mask_name
from notify.core.tickets import OPEN_PHASES
from notify.flows.contact_codes import where_to
from notify.flows.context import Context
from notify.flows.passes import MOST_OPEN, is_open
from notify.flows.view_hours import Door, door_within
from notify.render.moments import Moments
from notify.render.words import Language
from notify.store import passes, people, tickets
from notify.store.database import Unit
from notify.store.passes import Found

OFFLINE_PASS = "shelfbell:d/"  # noqa: S105 - a scheme, not a secret


@dataclass(frozen=True, slots=True)
class PassLine:
    """One pass that could be used, masked, for whoever holds the claim link."""

    id: str
    sentence: str


@dataclass(frozen=True, slots=True)
class PassPart:
    """The part "somebody else collects": open passes, and what can be done next.

    `asked` is "" or the sentence about the code that was sent and is to be typed; `may_ask`: a name may be given.
    `ends` is when something of this changes by itself.
    """

    open: tuple[PassLine, ...]
    asked: str
    may_ask: bool
    ends: datetime | None


@dataclass(frozen=True, slots=True)
class PassView:
    """What the page of a pass shows: nothing about anybody, but the claim numbers."""

    numbers: tuple[str, ...]
    letters: str
    until: datetime
    zone: str
    door: Door


def say_passes(ctx: Context, unit: Unit, visit_id: str, words: Language, moments: Moments) -> PassPart:
    """The part of the claim page. Names are masked: whoever finds the claim ticket sees initials only."""
    now, found = moments.now, passes.passes_of(unit, visit_id)
    live = [one for one in found if is_open(one, now)]
    asked = next((one for one in found if one.state == "asked" and one.expires_at > now), None)
    known = people.people_by_id(unit, [one.person_id for one in (*live, *([asked] if asked else []))])
    lines = tuple(
        PassLine(p.id, words("pass.open", name=mask_name(known[p.person_id].name), when=moments.day(p.expires_at)))
        for p in live
    )
    address = where_to(ctx, unit, visit_id) if asked else ""
    said = words("pass.asked", name=mask_name(known[asked.person_id].name), address=address) if asked else ""
    ends = min((one.expires_at for one in (*live, *([asked] if asked else []))), default=None)
    may_ask = tickets.is_device_with_us(unit, visit_id) and len(live) < MOST_OPEN
    return PassPart(lines, said if may_ask and address else "", may_ask, ends)


def find_pass(ctx: Context, code: str) -> Found | None:
    """Where a pass code leads, over all shops, or None; a malformed one is looked up like any other."""
    return passes.find_pass(ctx.db, code)


def pass_counts(ctx: Context, found: Found) -> bool:
    """Whether somebody could collect with it now."""
    return found.state == "open" and ctx.clock() < found.expires_at


def view_pass(ctx: Context, found: Found, code: str, words: Language) -> PassView:
    """The page of a pass that counts; raises NotFound when whoever gave it has been forgotten meanwhile."""
    with ctx.db.read(found.shop_id) as unit:
        whole = [t for t in tickets.tickets_of_visit(unit, found.visit_id) if t.phase in OPEN_PHASES]
        if not whole:
            raise NotFound("This pass is over", "Ask whoever gave it to you.")
        return PassView(
            tuple(show_number(t.number) for t in whole), show_pass_code(code),
            found.expires_at, ctx.shop(unit).zone, door_within(ctx, unit, words),
        )  # fmt: skip


def pass_link(ctx: Context, code: str) -> str:
    """The address of the page of a pass; empty without a public address."""
    return f"{ctx.public_url.rstrip('/')}/p/{code}" if ctx.public_url else ""


def pass_scans(ctx: Context, code: str) -> str:
    """What the QR code of a pass holds: the address of its page, or an offline code for the shop's scanner."""
    return pass_link(ctx, code) or f"{OFFLINE_PASS}{code}"

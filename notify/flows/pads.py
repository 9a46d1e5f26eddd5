"""Pads: claim tickets printed in advance for a day without power; void ones, and what stands on the printed page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.claim_number import parse_number, show_number
from notify.core.consent import EVERY_PURPOSE
from notify.core.contacts import show_phone
from notify.core.errors import Conflict, Invalid, NotFound, NotifyError
from notify.core.shop import Shop
from notify.flows import consent_words
from notify.flows.check_in import CheckedIn, check_in, new_free_number, token_hash
from notify.flows.check_in_form import VisitForm
from notify.flows.context import Context
from notify.flows.keeping import rule_of
from notify.flows.privacy_address import privacy_address
from notify.render.pad import PadPage
from notify.store import pad_tickets
from notify.store.database import Unit
from notify.store.pad_tickets import PRINTED, VOID, PadTicket

MOST = 100


@dataclass(frozen=True, slots=True)
class Pad:
    """One pad: when it was printed, how many tickets it had, and the numbers (as shown) of each state."""

    pad_id: str
    printed_at: datetime
    left: tuple[str, ...]
    entered: tuple[str, ...]
    void: tuple[str, ...]

    @property
    def tickets(self) -> int:
        """How many were printed."""
        return len(self.left) + len(self.entered) + len(self.void)


def make_pad(ctx: Context, actor: Actor, *, tickets: int = 20) -> str:
    """Takes so many claim numbers and secrets for paper; the pad's identifier. Raises Invalid for 0 or over MOST."""
    actor.need("check_in")
    if not 1 <= tickets <= MOST:
        raise Invalid(f"A pad has 1 to {MOST} tickets", "Print several pads if you need more.", field="tickets")
    with ctx.db.write(actor.shop_id) as unit:
        pad_id, now = unit.new_id(), ctx.clock()  # one time for all: the list of pads is sorted by it
        wordings = consent_words.shown(ctx, unit, ctx.shop(unit).language, at=now)
        for place in range(1, tickets + 1):
            token = claim_number.new_token(ctx.pick)
            pad_tickets.add(
                unit, pad_id=pad_id, place=place, number=new_free_number(ctx, unit), token=token,
                token_hash=token_hash(token), wordings=wordings, at=now, staff_id=actor.id,
            )  # fmt: skip
        return pad_id


def list_pads(ctx: Context, actor: Actor) -> tuple[Pad, ...]:
    """Every pad, the newest first."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        by_pad: dict[str, list[PadTicket]] = {}
        for one in pad_tickets.every(unit):
            by_pad.setdefault(one.pad_id, []).append(one)
        return tuple(_pad(pad_id, found) for pad_id, found in by_pad.items())


def _pad(pad_id: str, found: list[PadTicket]) -> Pad:
    def numbers(state: str) -> tuple[str, ...]:
        return tuple(show_number(one.number) for one in found if one.state == state)

    return Pad(pad_id, found[0].printed_at, numbers(PRINTED), numbers(pad_tickets.ENTERED), numbers(VOID))


def newest(ctx: Context, actor: Actor) -> str:
    """The pad printed last; raises NotFound when there is none."""
    pads = list_pads(ctx, actor)
    if not pads:
        raise NotFound("No pad was printed yet", "Print one: shelfbell print pad FILE.")
    return pads[0].pad_id


def pages_of(ctx: Context, actor: Actor, pad_id: str) -> tuple[tuple[PadPage, ...], str]:
    """What stands on each ticket of a pad that is still blank, and the shop's language.

    Raises NotFound for no such pad, Conflict when nothing of it is left to print.
    """
    actor.need("check_in")
    with ctx.db.read(actor.shop_id) as unit:
        shop, found = ctx.shop(unit), pad_tickets.of_pad(unit, pad_id)
        blank = [one for one in found if one.state == PRINTED]
        if not blank:
            raise Conflict("Every ticket of this pad was entered or is void", "Print a new pad.")
        return tuple(_page(ctx, unit, shop, one, of=len(found)) for one in blank), shop.language


def _page(ctx: Context, unit: Unit, shop: Shop, one: PadTicket, *, of: int) -> PadPage:
    token = pad_tickets.token_of(unit, one)
    return PadPage(
        shop_name=shop.name, shop_lines=tuple(shop.address.splitlines()), shop_phone=show_phone(shop.phone),
        number=show_number(one.number), label_text=one.number, qr_text=ctx.claim_code(token),
        link=ctx.claim_link(token), place=f"{one.place}/{of}", purposes=_asked(shop), wordings=one.wordings,
        keeping=rule_of(ctx, unit), currency=shop.currency,
        privacy_link=privacy_address(ctx, shop.id, ""),
    )  # fmt: skip


def _asked(shop: Shop) -> tuple[str, ...]:
    """The purposes that check-in asks about: the last one only where the shop asks anybody."""
    return tuple(one for one in EVERY_PURPOSE if one != "afterwards" or shop.all_well_days)


def make_void(ctx: Context, actor: Actor, *, number: str = "", pad_id: str = "") -> int:
    """Makes a lost ticket, or all that is left of a lost pad, open nothing any more; how many.

    Whoever finds one then holds a piece of paper. Raises NotFound, or Conflict when it was entered or void before.
    """
    actor.need("reissue")
    with ctx.db.write(actor.shop_id) as unit:
        found = (_one(unit, number),) if number else pad_tickets.of_pad(unit, pad_id)
        ids = [one.id for one in found if one.state == PRINTED]
        if not ids:
            raise Conflict("Nothing of it is still blank", "A ticket that was entered is replaced on its own page.")
        done = pad_tickets.end(unit, ids, VOID, at=ctx.clock())
    burn(ctx, ids)
    return done


def _one(unit: Unit, number: str) -> PadTicket:
    found = pad_tickets.by_number(unit, parse_number(number))
    if found is None:
        raise NotFound("No pad has a ticket with this number", "Read it once more from the paper.", field="number")
    return found


def burn(ctx: Context, ids: Iterable[str]) -> None:
    """Destroys the keys of tickets that are entered or void: after the commit, for until then they may be needed."""
    ctx.db.vault.destroy_keys(ids)


def blank_number(ctx: Context, actor: Actor, *, token: str = "", number: str = "") -> str:
    """The number of a pad's ticket that was scanned or typed and is not entered yet; "" for anything else."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        one = (
            pad_tickets.by_token_hash(unit, token_hash(token))
            if token
            else pad_tickets.by_number(unit, parse_number(number))
        )
        return one.number if one is not None and one.state == PRINTED else ""


@dataclass(frozen=True, slots=True)
class Entered:
    """What came of a pad typed in one go: number -> the visit, and number -> what is wrong with what was typed."""

    done: dict[str, CheckedIn]
    refused: dict[str, NotifyError]


def enter_all(ctx: Context, actor: Actor, forms: Mapping[str, VisitForm]) -> Entered:
    """Checks in many visits from paper, by the number on each; one that is wrong holds up none of the others."""
    actor.need("check_in")
    entered = Entered({}, {})
    for number, form in forms.items():
        try:
            entered.done[number] = check_in(ctx, actor, form)
        except (Invalid, Conflict) as problem:
            entered.refused[number] = problem
    return entered

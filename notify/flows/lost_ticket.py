"""A claim ticket is lost: a code to the stored contact proves whose it is, the old link dies and a new one is made.

At the counter for the whole visit; on the public page for the ticket whose number was typed. There the answer and the
work are the same whether the number is ours or not: the page only keeps what was typed, and a job looks it up.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from notify.core import claim_number
from notify.core.actors import Actor
from notify.core.contact_code import DIGITS, LIFETIME, read_code
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, TooOften
from notify.core.tickets import OPEN_PHASES
from notify.flows.claims import network
from notify.flows.contact_codes import WrongCode, check_code, count_try, note_proved, send_code
from notify.flows.context import Context
from notify.flows.desk_notes import replace_open_links, replace_within
from notify.store import contact_codes, lost_requests, tickets
from notify.store.database import Unit
from notify.store.lost_requests import FoundNumber

HOUR = timedelta(hours=1)
PURPOSE = "lost_ticket"
A_NUMBER = 10  # tries an hour for one number, ours or not: three codes with a slip or two each
_REFUSED = ("This code opens nothing", "It may be mistyped, used or too old. Have a new one sent, or call us.")


class Wait(TooOften):
    """Too many tries; `seconds` to wait."""

    def __init__(self, seconds: int) -> None:
        super().__init__("That was too often", "Wait a while and try again, or call the shop.")
        self.seconds = seconds


@dataclass(frozen=True, slots=True)
class Renewed:
    """The first of the new secrets, and how many tickets got one."""

    shop_id: str
    visit_id: str
    token: str
    count: int


def renew(ctx: Context, actor: Actor, visit_id: str, *, typed: str) -> Renewed:
    """At the counter: the code that the customer read out replaces every open ticket of the visit, all or none.

    Raises what check_code raises, and NotFound when nothing is with us.
    """
    actor.need("reissue")
    with ctx.db.write(actor.shop_id) as unit:
        contact_id = check_code(ctx, unit, visit_id, PURPOSE, typed)
        note_proved(ctx, unit, actor, visit_id, PURPOSE, contact_id)
        made = replace_open_links(ctx, unit, actor, visit_id, how="contact_code")
        return Renewed(actor.shop_id, visit_id, made[0], len(made))


def ask(ctx: Context, shop_id: str, typed: str, *, source: str, limit: int) -> str:
    """On the public page: keeps a claim number for the job that looks it up; the number in its one form.

    `limit` is how many tries an hour one source has. Raises Invalid for what cannot be a claim number (its check
    character says so to anybody), Wait above the limits.
    """
    number = claim_number.parse_number(typed)
    with ctx.db.write(shop_id) as unit:
        _count(ctx, unit, number, source, limit)
        lost_requests.add_request(unit, number, at=ctx.clock())
    return number


def _count(ctx: Context, unit: Unit, number: str, source: str, limit: int) -> None:
    """By source first, then by number, so that one place cannot lock a number out for everybody else for long."""
    for kind, value, most in (("lost:place", network(source), limit), ("lost:number", number, A_NUMBER)):
        wait = count_try(ctx, unit, kind, value, limit=most, window=HOUR)
        if wait:
            raise Wait(wait)


def answer_asked(ctx: Context, shop_ids: tuple[str, ...]) -> int:
    """The job: sends a code for each number that is ours, is still with us and has a contact; how many were sent."""
    if not shop_ids or not lost_requests.any_request(ctx.db):
        return 0
    with ctx.db.write(shop_ids[0]) as unit:
        asked = lost_requests.take_requests(unit)
    fresh = [number for number, at in asked if ctx.clock() - at < LIFETIME]
    return sum(_answer(ctx, number) for number in dict.fromkeys(fresh))


def _answer(ctx: Context, number: str) -> bool:
    found = lost_requests.find_number(ctx.db, number)
    if found is None:
        return False
    try:
        if not _is_here(ctx, found):
            return False
        send_code(ctx, _page(found.shop_id), found.visit_id, purpose=PURPOSE)
    except (NotAllowed, NotFound):  # no contact, too often, or forgotten just now: the page has said all it says
        return False
    return True


def _page(shop_id: str) -> Actor:
    """Whoever stands before the public page, taken to be the customer."""
    return Actor(shop_id, "customer", "lost_page")


def _is_here(ctx: Context, found: FoundNumber) -> bool:
    with ctx.db.read(found.shop_id) as unit:
        return tickets.phases_of_visit(unit, found.visit_id)[found.ticket_id] in OPEN_PHASES


def renew_by_number(ctx: Context, shop_id: str, typed: str, code: str, *, source: str, limit: int) -> Renewed:
    """On the public page: the code that was sent for this number replaces its ticket; the new secret.

    Raises Wait, Invalid for what cannot be a number or a code, and WrongCode in the same words after the same work
    for a wrong code and for a number that is not ours; the try is counted in each case.
    """
    number, digits = claim_number.parse_number(typed), read_code(code)
    if not digits:
        raise Invalid(f"A code has {DIGITS} digits", "Type it as it stands in the message.", field="code")
    found = lost_requests.find_number(ctx.db, number)
    with ctx.db.write(found.shop_id if found else shop_id) as unit:
        _count(ctx, unit, number, source, limit)
        waiting = contact_codes.open_code(unit, found.visit_id if found else "", PURPOSE, now=ctx.clock())
        if not contact_codes.fits(unit, waiting, digits) or waiting is None or found is None:
            contact_codes.count_wrong(unit, waiting)
            raise WrongCode(*_REFUSED, field="code")
        contact_codes.use_code(unit, waiting, at=ctx.clock())
        actor = _page(found.shop_id)
        note_proved(ctx, unit, actor, found.visit_id, PURPOSE, waiting.contact_id)
        ticket = tickets.get_ticket(unit, found.ticket_id, lock=True)
        if ticket.phase not in OPEN_PHASES:
            raise Conflict("Nothing of this repair is with us any more", "Call us if something is wrong.")
        token = replace_within(ctx, unit, actor, ticket, how="contact_code", telling=True)
        return Renewed(found.shop_id, found.visit_id, token, 1)

"""Check in a visit: who brings it, whom to tell, and one claim ticket per device."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

from notify.core import claim_number
from notify.core.actors import Actor
from notify.flows import consent_words, promises, suppressions
from notify.flows.check_in_form import CheckedForm, CheckedPerson, VisitForm
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import consents, idempotent, pad_tickets, people, tickets, visits
from notify.store import suppressions as stops
from notify.store.consents import Saying
from notify.store.database import Unit
from notify.store.pad_tickets import ENTERED, PadTicket

# What staff are told at once of an address that did not work for a visit before.
_CAME_BACK = (
    "A message to this {what} came back before, so it is not used. Ask for another; if it works again, say so on the"
    " ticket."
)
_NOT_THEIRS = (
    "Whoever has this {what} wrote that we reach the wrong person, so it is not used. Read it back; if it is theirs,"
    " say so on the ticket."
)
_WHAT = {"sms": "number", "email": "address"}


@dataclass(frozen=True, slots=True)
class CheckedIn:
    """The visit, and its tickets' identifiers and claim numbers in the order typed.

    `from_pads` are the rows of tickets printed in advance, whose own keys are of no use any more.
    """

    visit_id: str
    ticket_ids: tuple[str, ...]
    numbers: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    from_pads: tuple[str, ...] = ()


def check_in(ctx: Context, actor: Actor, form: VisitForm, *, how: str = "counter") -> CheckedIn:
    """Takes in one or more devices. Raises Invalid carrying every wrong field; then nothing is kept.

    `how` is by what way the ledger of consents says that they agreed (core/consent.HOW), unless the actor or a pad
    says more.
    """
    with ctx.db.write(actor.shop_id) as unit:
        if form.once and (known := idempotent.recall(unit, f"check_in:{form.once}")):
            return CheckedIn(known["visit"], tuple(known["tickets"]), tuple(known["numbers"]))
        done = check_in_within(ctx, unit, actor, form, how=how)
        if form.once:
            result = {"visit": done.visit_id, "tickets": done.ticket_ids, "numbers": done.numbers}
            idempotent.keep(unit, f"check_in:{form.once}", result, at=ctx.clock())
    if done.from_pads:
        ctx.db.vault.destroy_keys(done.from_pads)  # after the commit: until then the secret was sealed with it
    return done


def check_in_within(ctx: Context, unit: Unit, actor: Actor, form: VisitForm, *, how: str = "counter") -> CheckedIn:
    """Like check_in, inside the caller's transaction."""
    actor.need("check_in")
    return _keep(ctx, unit, actor, form, CheckedForm(unit, ctx.shop(unit), form, now=ctx.clock()), how)


def _keep(ctx: Context, unit: Unit, actor: Actor, form: VisitForm, checked: CheckedForm, how: str) -> CheckedIn:
    roles = _add_people(ctx, unit, form, checked)
    at = checked.at
    visit_id = visits.add_visit(unit, waits_here=form.waits_here, people=roles, at=at)
    _add_consents(ctx, unit, actor, checked, roles, visit_id, how)
    made = [_add_ticket(ctx, unit, visit_id, roles["bringer"][0], d, at=at) for d in checked.devices]
    record(ctx, unit, actor, "visit_opened", visit_id=visit_id, codes={"devices": len(made)}, at=at)
    for ticket_id, _, promise_at in made:
        record(ctx, unit, actor, "checked_in", visit_id=visit_id, ticket_id=ticket_id, at=at)
        if promise_at is not None:
            promises.note_promise(ctx, unit, actor, ticket_id, promise_at, made_at=at)
            record(ctx, unit, actor, "promise_made", visit_id=visit_id, ticket_id=ticket_id, at=at)
    return CheckedIn(
        visit_id, tuple(m[0] for m in made), tuple(m[1] for m in made), tuple(dict.fromkeys(checked.warnings)),
        tuple(one.id for one in _pads(checked)),
    )  # fmt: skip


def _pads(checked: CheckedForm) -> tuple[PadTicket, ...]:
    """The tickets printed in advance that this visit enters."""
    return tuple(d["pad"] for d in checked.devices if isinstance(d["pad"], PadTicket))


def _add_people(ctx: Context, unit: Unit, form: VisitForm, checked: CheckedForm) -> dict[str, tuple[str, ...]]:
    bringer = _add_person(ctx, unit, checked, checked.bringer, form.number_is_device)
    roles: dict[str, tuple[str, ...]] = {"bringer": (bringer,), "tell": (bringer,)}
    if checked.tell:
        roles["tell"] = (_add_person(ctx, unit, checked, checked.tell, False),)
    if checked.payer:
        roles["payer"] = (_add_person(ctx, unit, checked, checked.payer, False),)
    if checked.collectors:
        now = ctx.clock()
        roles["collector"] = tuple(
            people.add_person(unit, name=name, language=checked.language, at=now) for name in checked.collectors
        )
    return roles


def _add_person(ctx: Context, unit: Unit, checked: CheckedForm, person: CheckedPerson, in_device: bool) -> str:
    now = ctx.clock()
    new = people.add_person(unit, name=person.name, language=checked.language, at=now, child=person.child)
    for channel, address, _ in person.ways():
        if address:
            in_repair = in_device and channel == "sms"
            checked.warnings += _add_contact(unit, new, channel, address, at=now, in_device=in_repair)
            if known := stops.mark_known(unit, channel, address):
                checked.warnings.append(suppressions.say_unused(ctx, unit, channel, known))
                checked.unused.add((channel, address))
    return new


def _add_consents(
    ctx: Context, unit: Unit, actor: Actor, checked: CheckedForm, roles: dict[str, tuple[str, ...]], visit_id: str,
    how: str,
) -> None:  # fmt: skip
    """What everybody allowed, each in the words that they were shown; nothing where everything was stopped before."""
    pads = _pads(checked)
    language = checked.shop_language if pads else checked.language  # paper is printed in the shop's
    wordings = consent_words.shown(ctx, unit, language, at=ctx.clock())
    wordings |= {purpose: said for one in pads for purpose, said in one.wordings.items()}
    who = {"bringer": checked.bringer, "tell": checked.tell, "payer": checked.payer}
    for role, person in who.items():
        for channel, address, purposes in person.ways() if person else ():
            if address and (channel, address) not in checked.unused:
                saying = Saying(channel, True, wordings, language, "pad" if pads else _how(actor, how), checked.at,
                                actor.staff_id, visit_id)  # fmt: skip
                consents.add(unit, roles[role][0], saying, purposes)


def _how(actor: Actor, how: str) -> str:
    """By what way somebody agreed: they told a person here, or a script or another system passed it on."""
    return {"script": "api", "source": "source"}.get(actor.kind, how)


def _add_contact(
    unit: Unit, person_id: str, channel: str, address: str, *, at: datetime, in_device: bool
) -> tuple[str, ...]:
    """One that did not work before stays unused until somebody says that it does; what staff are told of it."""
    before = people.broken_before(unit, channel, address)
    new = people.add_contact(unit, person_id, channel, address, at=at, in_repaired_device=in_device)
    if before is None:
        return ()
    people.mark_undeliverable(unit, new, at=before.at, why=before.why)
    said = _NOT_THEIRS if before.why == people.WRONG_NUMBER else _CAME_BACK
    return (said.format(what=_WHAT[channel]),)


def _add_ticket(
    ctx: Context, unit: Unit, visit_id: str, person_id: str, device: dict[str, object], *, at: datetime
) -> tuple[str, str, datetime | None]:
    """The new ticket, its claim number and what was promised for it; number and secret are those on the paper."""
    pad = device["pad"] if isinstance(device["pad"], PadTicket) else None
    number = pad.number if pad else new_free_number(ctx, unit)
    token = pad_tickets.token_of(unit, pad) if pad else claim_number.new_token(ctx.pick)
    columns = {key: value for key, value in device.items() if key not in ("texts", "pad")}
    texts = {**device["texts"], "token": token}  # type: ignore[dict-item]
    ticket_id = tickets.add_ticket(
        unit, visit_id=visit_id, person_id=person_id, number=number, token_hash=token_hash(token), texts=texts,
        at=at, **columns,
    )  # fmt: skip
    if pad:
        pad_tickets.end(unit, [pad.id], ENTERED, at=ctx.clock(), ticket_id=ticket_id)
    return ticket_id, number, device["promise_at"]  # type: ignore[return-value]  # CheckedForm's


def new_free_number(ctx: Context, unit: Unit) -> str:
    """A claim number that no ticket of this shop bears, and none on its pads."""
    while tickets.number_taken(unit, number := claim_number.new_number(ctx.pick)):
        pass
    return number


def token_hash(token: str) -> str:
    """How a claim secret is kept for look-up: SHA-256 is enough for a random value of over 128 bits."""
    return hashlib.sha256(token.encode()).hexdigest()

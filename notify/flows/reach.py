"""How a person may be reached: stop or allow a use, correct an address, change the language."""

from __future__ import annotations

from datetime import datetime

from notify.core.actors import Actor
from notify.core.contacts import parse_email, parse_phone
from notify.core.errors import Invalid, NotFound
from notify.core.languages import LANGUAGES
from notify.core.notices import BASIS, CONSENT_PURPOSES, EVERY_PURPOSE, PURPOSES, REACH_CHANNELS
from notify.flows.check_in import WORDINGS
from notify.flows.context import Context
from notify.flows.holds import who_is_told
from notify.flows.record import record
from notify.store import people, visits
from notify.store.database import Unit
from notify.store.stamps import people_changed


def set_use(
    ctx: Context, actor: Actor, visit_id: str, person_id: str, *, channel: str, purposes: tuple[str, ...],
    allowed: bool, how: str,
) -> None:  # fmt: skip
    """Allows or stops uses of a channel; messages already waiting look again before they leave.

    `how` is counter, claim_page, reply or one_click. Raises Invalid, or NotFound when the person has no
    part in the visit.
    """
    if channel not in REACH_CHANNELS or any(purpose not in EVERY_PURPOSE for purpose in purposes):
        raise Invalid("There is no such use of a channel", f"Channels: {', '.join(REACH_CHANNELS)}.", field="channel")
    with ctx.db.write(actor.shop_id) as unit:
        _check_person(unit, visit_id, person_id)
        write_uses(ctx, unit, actor, person_id, channel, purposes, allowed=allowed, how=how)
        kind = "consent_given" if allowed else "consent_withdrawn"
        record(ctx, unit, actor, kind, visit_id=visit_id, codes=use_codes(channel, purposes, how))


def use_codes(channel: str, purposes: tuple[str, ...], how: str) -> dict[str, str | int]:
    """What the event of a use says; with the purpose where only what needs consent was meant."""
    only = {"purpose": ",".join(purposes)} if set(purposes) <= set(CONSENT_PURPOSES) else {}
    return {"channel": channel, "how": how, **only}


def write_uses(
    ctx: Context, unit: Unit, actor: Actor, person_id: str, channel: str, purposes: tuple[str, ...], *,
    allowed: bool, how: str,
) -> None:  # fmt: skip
    """Appends a consent or its withdrawal for each purpose, inside the caller's transaction."""
    people_changed(unit, [person_id])  # the event of this visit says nothing about their other ones
    language = people.get_person(unit, person_id).language
    for purpose in purposes:
        people.add_consent(
            unit, person_id, channel=channel, purpose=purpose, allowed=allowed, basis=BASIS[purpose],
            wording=WORDINGS[purpose], language=language, how=how,
            staff_id=actor.id if actor.kind == "staff" else None, at=ctx.clock(),
        )  # fmt: skip


def _check_person(unit: Unit, visit_id: str, person_id: str) -> None:
    roles = visits.visit_people(unit, visit_id)
    if not any(person_id in ids for ids in roles.values()):
        raise NotFound("There is no such person in this visit", "Look at the ticket again.")


def set_contact(
    ctx: Context, actor: Actor, visit_id: str, person_id: str, *, channel: str, address: str,
    purposes: tuple[str, ...] | None = None, in_repaired_device: bool = False, works_again: bool = False,
) -> str:  # fmt: skip
    """Replaces the person's address on a channel (empty removes it); messages waiting go to the new one.

    Whoever has the old one is told, and staff check for some hours who collects (flows/holds).

    `purposes` are what the person allows the new one for; None leaves what they said about the channel as it
    is (a corrected address must not undo a stop), or allows all that needs no consent where they never had one.
    Raises Invalid for an address that is none, and for one that did not work unless staff say that it `works_again`.
    The identifier of the new contact, empty when removed.
    """
    actor.need("change_contact")
    with ctx.db.write(actor.shop_id) as unit:
        _check_person(unit, visit_id, person_id)
        parsed = _parse(ctx, unit, channel, address)
        if parsed and not works_again:
            _refuse_broken(unit, channel, parsed)
        now: datetime = ctx.clock()
        told = who_is_told(ctx, unit, visit_id, person_id, channel, hours=ctx.shop(unit).hold_hours)
        if _is_the_same(unit, person_id, channel, parsed):
            told = {}
        asked_before = channel in people.allowed_uses(unit, [person_id]).get(person_id, {})
        for contact in people.contacts_of(unit, person_id):
            if contact.channel == channel:
                people.replace_contact(unit, contact.id, at=now)
        new = ""
        if parsed:
            new = people.add_contact(unit, person_id, channel, parsed, at=now, in_repaired_device=in_repaired_device)
            given = purposes if purposes is not None else (() if asked_before else PURPOSES)
            write_uses(ctx, unit, actor, person_id, channel, given, allowed=True, how="counter")
        record(ctx, unit, actor, "contact_changed", visit_id=visit_id, codes={"channel": channel, **told})
        return new


def _is_the_same(unit: Unit, person_id: str, channel: str, address: str) -> bool:
    """Whether it is the address that is stored already, typed once more."""
    return bool(address) and person_id in people.current_owners(unit, channel, address)


def _refuse_broken(unit: Unit, channel: str, address: str) -> None:
    before = people.broken_before(unit, channel, address)
    if before is None:
        return
    came_back = "somebody else is reached there" if before.why == people.WRONG_NUMBER else "a message to it came back"
    raise Invalid(f"It did not work: {came_back}", "Ask for another one, or say that it works again.", field="address")


def _parse(ctx: Context, unit: Unit, channel: str, address: str) -> str:
    if not address.strip():
        return ""
    if channel == "sms":
        return parse_phone(address, region=ctx.shop(unit).region or None).e164
    if channel == "email":
        return parse_email(address)
    raise Invalid(f"{channel[:20]!r} is no channel", f"Use one of: {', '.join(REACH_CHANNELS)}.", field="channel")


def set_language(ctx: Context, actor: Actor, visit_id: str, person_id: str, *, language: str) -> None:
    """Changes the language a person is written in."""
    _check_language(language)
    with ctx.db.write(actor.shop_id) as unit:
        _check_person(unit, visit_id, person_id)
        people.set_language(unit, person_id, language)


def set_visit_language(ctx: Context, actor: Actor, visit_id: str, *, language: str) -> None:
    """Changes the language of a claim page, and of what is written to those who are told about the visit."""
    _check_language(language)
    with ctx.db.write(actor.shop_id) as unit:
        roles = visits.visit_people(unit, visit_id)
        for person_id in {*roles.get("bringer", ()), *roles.get("tell", ())}:
            people.set_language(unit, person_id, language)


def _check_language(language: str) -> None:
    if language not in LANGUAGES:
        raise Invalid(f"{language[:10]!r} is not spoken here", f"Use one of: {', '.join(LANGUAGES)}.", field="language")

"""How a person may be reached: stop or allow a use, correct an address, change the language."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from notify.core.actors import Actor
from notify.core.consent import (
    CONSENT_PURPOSES,
    INTERESTS,
    PURPOSES,
    REACH_CHANNELS,
    SAID,
    is_stopped,
    is_unheard,
    not_for_a_child,
    refused_for_child,
)
from notify.core.errors import Invalid, NotFound
from notify.core.languages import LANGUAGES
from notify.core.suppression import CARRIED
from notify.flows import consent_words, suppressions
from notify.flows.context import Context
from notify.flows.holds import who_is_told
from notify.flows.record import record
from notify.store import consents, people, visits
from notify.store import suppressions as stops
from notify.store.consents import Saying
from notify.store.database import Unit
from notify.store.stamps import people_changed

SERVICE = PURPOSES  # what somebody who wants messages again is written for; the rest needs a consent of its own


def set_use(
    ctx: Context, actor: Actor, visit_id: str, person_id: str, *, channel: str, purposes: tuple[str, ...],
    allowed: bool, how: str, wanted: bool = False,
) -> None:  # fmt: skip
    """Allows or stops uses of a channel; messages already waiting look again before they leave.

    `how` is one of core/consent.HOW. Raises Invalid, NotFound when the person has no part in the visit, and Conflict
    where everything was stopped at the address, unless somebody asked and it is `wanted` again.
    """
    if channel not in REACH_CHANNELS or any(purpose not in SAID for purpose in purposes):
        raise Invalid("There is no such use of a channel", f"Channels: {', '.join(REACH_CHANNELS)}.", field="channel")
    with ctx.db.write(actor.shop_id) as unit:
        need_part(unit, visit_id, person_id)
        if allowed:
            _make_free(ctx, unit, person_id, channel, how=how, wanted=wanted)
        write_uses(ctx, unit, actor, person_id, channel, purposes, allowed=allowed, how=how, evidence=visit_id)
        kind = "consent_given" if allowed else "consent_withdrawn"
        record(ctx, unit, actor, kind, visit_id=visit_id, codes=use_codes(channel, purposes, how))


def _make_free(ctx: Context, unit: Unit, person_id: str, channel: str, *, how: str, wanted: bool) -> None:
    if wanted:
        suppressions.end_for(ctx, unit, person_id, channel, how=how)
    else:
        suppressions.refuse_silently(ctx, unit, person_id, channel)


def use_codes(channel: str, purposes: tuple[str, ...], how: str) -> dict[str, str | int]:
    """What the event of a use says; with the purpose where nothing that belongs to the repair was meant."""
    only = {"purpose": ",".join(purposes)} if set(purposes) <= {*CONSENT_PURPOSES, *INTERESTS} else {}
    return {"channel": channel, "how": how, **only}


def write_uses(
    ctx: Context, unit: Unit, actor: Actor, person_id: str, channel: str, purposes: Iterable[str], *,
    allowed: bool, how: str, evidence: str = "", replied: bool = False,
) -> None:  # fmt: skip
    """Appends a consent or its withdrawal for each purpose, inside the caller's transaction.

    `evidence` names the visit or the reply that shows it; `replied`: the words are the reply's own. A stop of
    everything is noted for the address too. Raises Invalid for what is never asked of a child's contact.
    """
    person, meant, now = people.get_person(unit, person_id), tuple(purposes), ctx.clock()
    if allowed and person.child and (refused := refused_for_child(meant)):
        raise not_for_a_child(refused, field="purposes")
    people_changed(unit, [person_id])  # the event of this visit says nothing about their other ones
    words = consent_words.in_their_words if replied else consent_words.shown
    saying = Saying(
        channel, allowed, words(ctx, unit, person.language, at=now), person.language, how, now, actor.staff_id,
        evidence or None,
    )  # fmt: skip
    consents.add(unit, person_id, saying, meant)
    if not allowed:
        suppressions.after_withdrawal(ctx, unit, actor, person_id, channel, how=how)


def set_child(ctx: Context, actor: Actor, visit_id: str, person_id: str, *, child: bool) -> None:
    """Says whether somebody's contacts are a child's; if so, whatever optional was allowed is withdrawn."""
    actor.need("change_contact")
    with ctx.db.write(actor.shop_id) as unit:
        need_part(unit, visit_id, person_id)
        people.set_child(unit, person_id, child)
        uses = people.allowed_uses(unit, [person_id]).get(person_id, {}) if child else {}
        for channel, allowed in sorted(uses.items()):
            if gone := refused_for_child(sorted(allowed)):
                write_uses(ctx, unit, actor, person_id, channel, gone, allowed=False, how="counter", evidence=visit_id)
                codes = use_codes(channel, gone, "counter")
                record(ctx, unit, actor, "consent_withdrawn", visit_id=visit_id, codes=codes)


def need_part(unit: Unit, visit_id: str, person_id: str) -> None:
    """Raises NotFound for somebody who has no part in the visit."""
    roles = visits.visit_people(unit, visit_id)
    if not any(person_id in ids for ids in roles.values()):
        raise NotFound("There is no such person in this visit", "Look at the ticket again.")


def set_contact(
    ctx: Context, actor: Actor, visit_id: str, person_id: str, *, channel: str, address: str,
    purposes: tuple[str, ...] | None = None, in_repaired_device: bool = False, works_again: bool = False,
    how: str = "counter",
) -> str:  # fmt: skip
    """Replaces the person's address on a channel (empty removes it); messages waiting go to the new one.

    Whoever has the old one is told, and staff check for some hours who collects (flows/holds).

    `purposes` are what the person allows the new one for; None leaves what they said about the channel as it
    is (a corrected address must not undo a stop), or allows all that needs no consent where they never had one.
    Nothing is allowed for one at which everything was stopped (`why_unused` tells it).
    Raises Invalid for an address that is none, and for one that did not work unless staff say that it `works_again`.
    The identifier of the new contact, empty when removed.
    """
    actor.need("change_contact")
    with ctx.db.write(actor.shop_id) as unit:
        need_part(unit, visit_id, person_id)
        parsed = suppressions.parse_address(ctx, unit, channel, address) if address.strip() else ""
        if parsed and not works_again:
            _refuse_broken(unit, channel, parsed)
        now: datetime = ctx.clock()
        told = who_is_told(ctx, unit, visit_id, person_id, channel, hours=ctx.shop(unit).hold_hours)
        if _is_the_same(unit, person_id, channel, parsed):
            told = {}
        state = people.standings(unit, [person_id]).get(person_id, {})
        for contact in people.contacts_of(unit, person_id):
            if contact.channel == channel:
                people.replace_contact(unit, contact.id, at=now)
        new = ""
        if parsed:
            new = people.add_contact(unit, person_id, channel, parsed, at=now, in_repaired_device=in_repaired_device)
            given = purposes if purposes is not None else (PURPOSES if is_unheard(state, channel) else ())
            if stops.mark_known(unit, channel, parsed) is None:
                write_uses(ctx, unit, actor, person_id, channel, given, allowed=True, how=how, evidence=visit_id)
                if is_stopped(state, channel) and not given:
                    stops.suppress(unit, channel, parsed, how=CARRIED, at=now, staff_id=actor.staff_id)
        record(ctx, unit, actor, "contact_changed", visit_id=visit_id, codes={"channel": channel, **told})
        return new


def why_unused(ctx: Context, actor: Actor, contact_id: str) -> str:
    """What staff are told of a contact that was just noted and is not used; "" when nothing stands against it."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        contact = people.get_contact(unit, contact_id) if contact_id else None
        known = stops.standing(unit, contact.channel, contact.address) if contact else None
        return suppressions.say_unused(ctx, unit, contact.channel, known) if contact and known else ""


def _is_the_same(unit: Unit, person_id: str, channel: str, address: str) -> bool:
    """Whether it is the address that is stored already, typed once more."""
    return bool(address) and person_id in people.current_owners(unit, channel, address)


def _refuse_broken(unit: Unit, channel: str, address: str) -> None:
    before = people.broken_before(unit, channel, address)
    if before is None:
        return
    came_back = "somebody else is reached there" if before.why == people.WRONG_NUMBER else "a message to it came back"
    raise Invalid(f"It did not work: {came_back}", "Ask for another one, or say that it works again.", field="address")


def set_language(ctx: Context, actor: Actor, visit_id: str, person_id: str, *, language: str) -> None:
    """Changes the language a person is written in."""
    _check_language(language)
    with ctx.db.write(actor.shop_id) as unit:
        need_part(unit, visit_id, person_id)
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

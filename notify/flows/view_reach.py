"""What a claim page says about people: how they may be reached, who may collect, what is kept and until when."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.consent import CONSENT_PURPOSES, SAID, in_use
from notify.core.mask import mask_email, mask_name, mask_phone
from notify.flows.context import Context
from notify.flows.keeping import fate, midnight, rule_of
from notify.render.keeping_says import after_handback
from notify.render.moments import Moments
from notify.render.words import Language
from notify.store import people, requests, tickets, visits
from notify.store.database import Unit
from notify.store.people import Contact
from notify.store.tickets import Ticket


@dataclass(frozen=True, slots=True)
class ContactLine:
    """One stored way to reach somebody, masked, and what it may be used for.

    `can_stop_asking` is about what somebody had to agree to.
    """

    id: str
    sentence: str
    can_stop: bool
    can_stop_asking: bool
    person_id: str
    channel: str


def say_contacts(ctx: Context, unit: Unit, visit_id: str, words: Language) -> tuple[ContactLine, ...]:
    """The ways to reach those who are told about this visit; nobody else's are shown."""
    told = visits.visit_people(unit, visit_id).get("tell", ())
    states = people.standings(unit, told)
    here, aside = tickets.is_device_with_us(unit, visit_id), requests.set_aside_among(unit, told)
    lines, contacts = [], people.contacts_of_all(unit, told)
    for person_id in told:
        for contact in contacts.get(person_id, ()):
            allowed = in_use(states.get(person_id, {}), contact.channel)
            key, can_stop = _use_of(contact, allowed, here=here, is_on=contact.channel in ctx.channels_on)
            asks = can_stop and not allowed.isdisjoint(CONSENT_PURPOSES)
            said = _say(key, contact, allowed, words, aside=person_id in aside)
            lines.append(ContactLine(contact.id, said, can_stop, asks, person_id, contact.channel))
    return tuple(lines)


def _use_of(contact: Contact, allowed: frozenset[str], *, here: bool, is_on: bool) -> tuple[str, bool]:
    """The words for one contact, and whether there is still something to stop."""
    if not allowed or contact.suppressed_at is not None:
        return ("reach_stopped" if contact.channel == "email" else "reach_stopped_phone"), False
    if contact.undeliverable:
        return "reach_failed", True
    if contact.in_repaired_device and here:
        return "reach_resting", True
    return (f"reach_{contact.channel}" if is_on or contact.channel == "email" else "reach_call"), True


def _say(key: str, contact: Contact, allowed: frozenset[str], words: Language, *, aside: bool) -> str:
    mask = mask_email if contact.channel == "email" else mask_phone
    values = {"address": mask(contact.address)}
    if key in ("reach_email", "reach_sms", "reach_call"):
        named = [words[f"purpose.{purpose}"] for purpose in SAID if purpose in allowed]
        uses = words["purpose.joined"].join(filter(None, (", ".join(named[:-1]), named[-1])))
        values["purposes"] = words["purpose.set_aside"] if aside else uses
    return words(f"claim.{key}", **values)


def say_collectors(unit: Unit, visit_id: str, words: Language) -> tuple[str, ...]:
    """Who may collect: the holder, and everybody named at check-in by initials only."""
    named = visits.visit_people(unit, visit_id).get("collector", ())
    names = [people.get_person(unit, person_id).name for person_id in named]
    shown = (words("claim.collect_named", name=mask_name(name)) for name in names if name)
    return (words["claim.collect_holder"], *shown)


def say_known(ctx: Context, unit: Unit, ticket: Ticket, words: Language, moments: Moments) -> str:
    """What is known of whoever brought it, and when it goes or why it stays: one sentence, which accuses nobody."""
    if any(one.will_erase for one in requests.requests_of(unit, ticket.person_id)):
        return words["known.when_asked"]
    found = fate(ctx, unit, ticket.person_id)
    reason = words[f"known.because_{found.reasons[0]}"] if found.reasons else ""
    if reason and found.state != "running":
        return words("known.kept", reason=reason)
    if found.goes_on is None:
        return words("known.when_open", after=after_handback(rule_of(ctx, unit), ctx.words(words.code)))
    if found.state == "due":
        return words["known.when_now"]
    when = moments.on(midnight(found.goes_on, ctx.shop(unit)))
    return words("known.when_later", when=when, reason=reason) if reason else words("known.when_day", when=when)

"""Turns one event, the facts and the time into messages to plan; a message not planned is data too."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from notify.core.events import Event
from notify.core.long_past import REASON, RESTORED, TYPING, entered_late, is_told
from notify.core.notices import (
    ANSWER,
    CODE,
    INTERESTS,
    NOTICES,
    PRIVACY,
    PURPOSES,
    SAID,
    TO_NAMED,
    WHEN_SET_ASIDE,
    Notice,
)
from notify.core.rings import Ring
from notify.core.rules import notices_for
from notify.core.suppression import is_silenced


@dataclass(frozen=True, slots=True)
class Reach:
    """One way to reach a person: what it may be used for, and whether it can be used now.

    `suppressed` is by what way its reader said that they want nothing there any more, "" when nobody did; `objected`
    what of core/consent.INTERESTS they do not want.
    """

    contact_id: str
    channel: str
    purposes: frozenset[str]
    in_repaired_device: bool = False
    undeliverable: bool = False
    suppressed: str = ""
    objected: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Recipient:
    """A person who is to be told, with every stored way to reach them. `set_aside`: their data are (WHEN_SET_ASIDE)."""

    person_id: str
    language: str
    reaches: tuple[Reach, ...] = ()
    forgotten: bool = False
    set_aside: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """What the planner and the second look need to know about a ticket's surroundings.

    `device_with_us` is False once every device of the visit was handed back. `channels_on` are the
    channels that the installation can use. `waits_here` means the customer stands in the shop. `rings` are
    the ways on which the shop's own bell rings about it (core/rings). `long_past` is how long after its own time an
    event is old news (core/long_past); what happened before `restored_at` may have been told by a lost database.
    """

    tell: tuple[Recipient, ...]
    channels_on: frozenset[str]
    bell: timedelta
    waits_here: bool = False
    device_with_us: bool = True
    expires: Mapping[str, datetime] = field(default_factory=dict)
    rings: tuple[Ring, ...] = (Ring("email"),)
    long_past: timedelta = timedelta(hours=6)
    restored_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Planned:
    """A message to write into the outbox. An empty `person_id` means the shop itself.

    Then `contact_id` names the one of the staff for whom it rings; empty: the shop's own address.
    """

    notice: str
    person_id: str
    channel: str
    contact_id: str
    about: str
    cause: str
    due_at: datetime
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Skipped:
    """A message decided against, with the reason code; stored beside the planned ones."""

    notice: str
    person_id: str
    about: str
    cause: str
    reason: str


Plan = tuple[Planned | Skipped, ...]
# What somebody who waits in the shop need not be written: they see and hear it.
_SEEN_WHILE_WAITING = frozenset({"checked_in", "part_ordered", "part_arrived", "promise_changed", "handed_back"})


def plan(event: Event, facts: Facts, *, now: datetime) -> Plan:
    """Every message that `event` causes, planned or skipped with its reason, in the order of the rules."""
    out: list[Planned | Skipped] = []
    for name in notices_for(event.kind):
        notice = NOTICES[name]
        if notice.only_by not in ("", event.actor_kind):
            continue  # the shop did it itself and need not be told
        if notice.audience == "shop":
            out.extend(_for_shop(notice, event, facts, now=now))
        elif notice.purpose == ANSWER:
            out.append(_for_writer(notice, event, facts, now=now))
        elif notice.purpose in TO_NAMED:
            out.extend(_for_named(notice, event, facts, now=now))
        else:
            out.extend(_for_person(notice, event, facts, person, now=now) for person in _told(event, facts))
    return tuple(out)


def _told(event: Event, facts: Facts) -> tuple[Recipient, ...]:
    """Everybody who is told; the one person whom the event names in `only`, where it answers their own calendar."""
    only = event.codes.get("only", "")
    return tuple(person for person in facts.tell if only in ("", person.person_id))


def _for_shop(notice: Notice, event: Event, facts: Facts, *, now: datetime) -> Plan:
    """One message for each way that rings; none means that the day sheet alone tells it."""
    about = _about(notice, event)
    ways = [ring for ring in facts.rings if ring.channel in notice.channels and ring.channel in facts.channels_on]
    if not ways:
        return (Skipped(notice.name, "", about, event.id, "no_shop_channel"),)
    ends = min(facts.expires.get(notice.name, now + notice.life), now + notice.life)
    return tuple(Planned(notice.name, "", r.channel, r.staff_id, about, event.id, now, ends) for r in ways)


def _for_writer(notice: Notice, event: Event, facts: Facts, *, now: datetime) -> Planned | Skipped:
    """An answer to whoever wrote: the codes of the event name person, channel and contact. It needs no consent."""
    person, channel = str(event.codes["person"]), str(event.codes["channel"])
    about = _about(notice, event)
    if channel not in facts.channels_on:
        return Skipped(notice.name, person, about, event.id, "channel_off")
    expires = min(facts.expires.get(notice.name, now + notice.life), now + notice.life)
    return Planned(notice.name, person, channel, str(event.codes["contact"]), about, event.id, now, expires)


def name_readers(ways: Iterable[tuple[str, str]]) -> str:
    """Channels and contacts as the code `to` of an event: for notices that only these may read."""
    return ",".join(f"{channel}:{contact}" for channel, contact in ways)


def _for_named(notice: Notice, event: Event, facts: Facts, *, now: datetime) -> Plan:
    """One message to each contact that the event names in `to`; nobody is told of an event that names none."""
    expires = min(facts.expires.get(notice.name, now + notice.life), now + notice.life)
    person, about = str(event.codes.get("person", "")), _about(notice, event)
    named = [one.split(":", 1) for one in str(event.codes.get("to", "")).split(",") if one]
    on = [(channel, contact) for channel, contact in named if channel in facts.channels_on]
    if named and not on:
        return (Skipped(notice.name, person, about, event.id, "channel_off"),)
    return tuple(
        Planned(notice.name, person, channel, contact, about, event.id, now, expires) for channel, contact in on
    )


def _for_person(notice: Notice, event: Event, facts: Facts, person: Recipient, *, now: datetime) -> Planned | Skipped:
    about = _about(notice, event)
    if person.forgotten:
        return Skipped(notice.name, person.person_id, about, event.id, "forgotten")
    if person.set_aside and notice.name not in WHEN_SET_ASIDE:
        return Skipped(notice.name, person.person_id, about, event.id, "set_aside")
    if facts.restored_at is not None and event.at < facts.restored_at:
        return Skipped(notice.name, person.person_id, about, event.id, RESTORED)
    if not is_told(notice.name, event.at, now=now, after=facts.long_past):
        return Skipped(notice.name, person.person_id, about, event.id, REASON)
    if facts.waits_here and notice.name in _SEEN_WHILE_WAITING:
        return Skipped(notice.name, person.person_id, about, event.id, "waits_here")
    due = now + facts.bell if notice.bell else now
    if entered_late(event.at, now=now, after=facts.long_past):
        due = max(due, now + TYPING)
    expires = min(facts.expires.get(notice.name, due + notice.life), due + notice.life)
    reach = best_reach(notice, person, facts)
    if reach is not None:
        channel, contact = reach.channel, reach.contact_id
    elif notice.call:
        channel, contact = "call", ""
    else:
        return Skipped(notice.name, person.person_id, about, event.id, why_no_reach(notice, person, facts))
    return Planned(notice.name, person.person_id, channel, contact, about, event.id, due, expires)


def best_reach(
    notice: Notice, person: Recipient, facts: Facts, *, without: frozenset[str] = frozenset()
) -> Reach | None:
    """The first usable way in the notice's order of channels, leaving out channels in `without`."""
    for channel in notice.channels:
        for reach in person.reaches:
            if reach.channel == channel and channel not in without and not unusable(notice, reach, facts):
                return reach
    return None


def why_no_reach(notice: Notice, person: Recipient, facts: Facts) -> str:
    """The reason code why no stored way can be used: the last one tried, or that there is none."""
    reasons = [unusable(notice, reach, facts) for reach in person.reaches if reach.channel in notice.channels]
    return reasons[-1] if reasons else "no_contact"


def unusable(notice: Notice, reach: Reach, facts: Facts) -> str:
    """The reason code why a way cannot be used for this notice; empty when it can.

    A code needs no consent, as its reader asks for it; but to a contact that is to get nothing goes no code either.
    """
    if notice.purpose in reach.objected:
        return "objected"
    if notice.purpose in SAID and INTERESTS.get(notice.purpose, notice.purpose) not in reach.purposes:
        return "not_allowed"
    if notice.purpose in (CODE, PRIVACY) and reach.purposes.isdisjoint(PURPOSES):
        return "not_allowed"
    if is_silenced(notice.purpose, reach.suppressed):
        return "suppressed"
    if reach.channel not in facts.channels_on:
        return "channel_off"
    if reach.undeliverable:
        return "undeliverable"
    if reach.in_repaired_device and facts.device_with_us:
        return "number_in_device"
    return ""


def _about(notice: Notice, event: Event) -> str:
    whole_visit = notice.about == "visit" or not event.ticket_id
    return f"visit:{event.visit_id}" if whole_visit else f"ticket:{event.ticket_id}"
